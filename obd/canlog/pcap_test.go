package canlog

import (
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"os"
	"proveout/published"
	"strings"
	"testing"
)

// The three rows of pcap_example.csv, and that they are the stored file.
func TestPCAPExample(t *testing.T) {
	var all []byte
	for _, row := range published.Rows(t, "pcap_example.csv", 3) {
		b, err := hex.DecodeString(strings.ReplaceAll(row[1], " ", ""))
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, b...)
	}
	file, err := os.ReadFile("testdata/example_can227.pcap")
	if err != nil || !bytes.Equal(file, all) {
		t.Fatalf("stored file and table differ: %v", err)
	}
	l, err := ReadAll(bytes.NewReader(file), Options{})
	if err != nil || len(l.Notes) != 0 || len(l.Records) != 2 {
		t.Fatalf("%v %+v", err, l)
	}
	for i, want := range []string{"t=1700000000.012345 7E8 [8] 04410c1af8aaaaaa", "t=1700000001.000001 18DAF110 [8] 0341057baaaaaaaa"} {
		if got := describe(l.Records[i]); got != want {
			t.Errorf("%s, want %s", got, want)
		}
	}
	if l.Records[0].Byte != 24 || l.Records[1].Byte != 56 {
		t.Errorf("places %d %d", l.Records[0].Byte, l.Records[1].Byte)
	}
}

func pcapFile(o order, magic, link uint32, packets ...[]byte) []byte {
	b := o.AppendUint32(nil, magic)
	b = o.AppendUint16(o.AppendUint16(b, 2), 4)
	b = o.AppendUint32(o.AppendUint32(b, 0), 0)
	b = o.AppendUint32(o.AppendUint32(b, 65535), link)
	for i, p := range packets {
		b = o.AppendUint32(o.AppendUint32(b, uint32(i+1)), 500)
		b = o.AppendUint32(o.AppendUint32(b, uint32(len(p))), uint32(len(p)))
		b = append(b, p...)
	}
	return b
}

// Trap (standards.md 11): ids of link type 227 are big-endian in a
// little-endian file; in cooked captures they are in host order.
func TestPCAPByteOrder(t *testing.T) {
	be := []byte{0, 0, 0x07, 0xE8, 3, 0, 0, 0, 0x02, 0x41, 0x00}
	sll := append(make([]byte, 14), 0x00, 0x0C)
	little := append(append([]byte{}, sll...), 0xE8, 0x07, 0, 0, 3, 0, 0, 0, 0x02, 0x41, 0x00)
	big := append(append([]byte{}, sll...), be...)
	sll2 := append([]byte{0x00, 0x0C}, make([]byte, 18)...)
	for _, c := range []struct {
		name string
		file []byte
		want string
	}{
		{"227 little", pcapFile(binary.LittleEndian, 0xA1B2C3D4, 227, be), "t=1.000500 7E8 [3] 024100"},
		{"227 big", pcapFile(binary.BigEndian, 0xA1B2C3D4, 227, be), "t=1.000500 7E8 [3] 024100"},
		{"227 nanoseconds", pcapFile(binary.BigEndian, 0xA1B23C4D, 227, be), "t=1.000000 7E8 [3] 024100"},
		{"cooked little", pcapFile(binary.LittleEndian, 0xA1B2C3D4, 113, little), "t=1.000500 7E8 [3] 024100"},
		{"cooked big", pcapFile(binary.BigEndian, 0xA1B2C3D4, 113, big), "t=1.000500 7E8 [3] 024100"},
		{"cooked 2", pcapFile(binary.LittleEndian, 0xA1B2C3D4, 276, append(sll2, little[16:]...)), "t=1.000500 7E8 [3] 024100"},
		{"remote", pcapFile(binary.LittleEndian, 0xA1B2C3D4, 227, []byte{0x40, 0, 1, 0x23, 4, 0, 0, 0}), "t=1.000500 123 remote 4"},
		{"error", pcapFile(binary.LittleEndian, 0xA1B2C3D4, 227, []byte{0x20, 0, 0, 4, 8, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0}), "t=1.000500 error 00000004 [8] 0001000000000000"},
		{"FD", pcapFile(binary.LittleEndian, 0xA1B2C3D4, 227, append([]byte{0, 0, 7, 0xE8, 12, 5, 0, 0}, make([]byte, 12)...)), "t=1.000500 7E8 FD BRS [12] 000000000000000000000000"},
		{"raw length code", pcapFile(binary.LittleEndian, 0xA1B2C3D4, 227, []byte{0, 0, 1, 0x23, 8, 0, 0, 14, 1, 2, 3, 4, 5, 6, 7, 8}), "t=1.000500 123 [14] 0102030405060708"},
	} {
		l, err := ReadAll(bytes.NewReader(c.file), Options{})
		if err != nil || len(l.Records) != 1 || len(l.Notes) != 0 {
			t.Errorf("%s: %v %+v", c.name, err, l)
			continue
		}
		if got := describe(l.Records[0]); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
	}
}

func TestPCAPDamage(t *testing.T) {
	good := []byte{0, 0, 0x07, 0xE8, 3, 0, 0, 0, 0x02, 0x41, 0x00}
	whole := pcapFile(binary.LittleEndian, 0xA1B2C3D4, 227, good, good)
	for _, c := range []struct {
		name    string
		file    []byte
		records int
		note    string
	}{
		{"cut in packet", whole[:len(whole)-1], 1, "ends inside a packet"},
		{"cut after header", whole[:len(whole)-11], 1, "ends inside a packet"},
		{"cut in header", whole[:len(whole)-20], 1, "ends inside a packet header"},
		{"absurd length", append(append([]byte{}, whole[:24]...), 0, 0, 0, 0, 0, 0, 0, 0, 0xFF, 0xFF, 0xFF, 0xFF, 0, 0, 0, 0), 0, "damaged"},
		{"short", pcapFile(binary.LittleEndian, 0xA1B2C3D4, 227, good[:7], good), 1, "less than a CAN header"},
		{"longer than its data", pcapFile(binary.LittleEndian, 0xA1B2C3D4, 227, good[:9], good), 1, "snap length"},
		{"ten bytes classic", pcapFile(binary.LittleEndian, 0xA1B2C3D4, 227, append([]byte{0, 0, 7, 0xE8, 10, 0, 0, 0}, make([]byte, 10)...), good), 1, "length 10"},
		{"XL", pcapFile(binary.LittleEndian, 0xA1B2C3D4, 227, append([]byte{0, 0, 7, 0xE8, 0x80, 0, 0, 0}, make([]byte, 10)...), good), 1, "CAN XL"},
	} {
		l, err := ReadAll(bytes.NewReader(c.file), Options{})
		if err != nil || len(l.Records) != c.records || len(l.Notes) != 1 || !l.Notes[0].Lost || !strings.Contains(l.Notes[0].Text, c.note) {
			t.Errorf("%s: %v %+v", c.name, err, l)
		}
	}
}

func ngBlock(o order, kind uint32, body []byte) []byte {
	for len(body)%4 != 0 {
		body = append(body, 0)
	}
	n := uint32(len(body) + 12)
	b := o.AppendUint32(o.AppendUint32(nil, kind), n)
	return o.AppendUint32(append(b, body...), n)
}

// Layout: draft-ietf-opsawg-pcapng, built here block by block.
func pcapngFile(o order) []byte {
	head := o.AppendUint32(nil, 0x1A2B3C4D)
	head = o.AppendUint16(o.AppendUint16(head, 1), 0)
	head = append(head, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF)
	f := ngBlock(o, blockSection, head)
	idb := o.AppendUint16(o.AppendUint16(nil, linkCAN), 0)
	idb = o.AppendUint32(idb, 0)
	idb = append(o.AppendUint16(o.AppendUint16(idb, 9), 1), 9, 0, 0, 0) // nanoseconds
	f = append(f, ngBlock(o, blockInterface, idb)...)
	f = append(f, ngBlock(o, 5, make([]byte, 12))...) // statistics: passed over
	frame := []byte{0, 0, 0x07, 0xE8, 3, 0, 0, 0, 0x02, 0x41, 0x00}
	stamp := uint64(1_700_000_000_012_345_000)
	epb := o.AppendUint32(o.AppendUint32(o.AppendUint32(nil, 0), uint32(stamp>>32)), uint32(stamp))
	epb = o.AppendUint32(o.AppendUint32(epb, uint32(len(frame))), uint32(len(frame)))
	return append(f, ngBlock(o, blockEnhanced, append(epb, frame...))...)
}

func TestPCAPNG(t *testing.T) {
	for _, o := range []order{binary.LittleEndian, binary.BigEndian} {
		file := pcapngFile(o)
		if f, c := Sniff(file); f != PCAPNG || c < 0.5 {
			t.Errorf("sniffed %q %.1f", f, c)
		}
		l, err := ReadAll(bytes.NewReader(file), Options{})
		if err != nil || len(l.Records) != 1 || len(l.Notes) != 0 {
			t.Fatalf("%v: %v %+v", o, err, l)
		}
		if got := describe(l.Records[0]); got != "t=1700000000.012345 if0 7E8 [3] 024100" {
			t.Errorf("%v: %s", o, got)
		}
		l, err = ReadAll(bytes.NewReader(file[:len(file)-5]), Options{})
		if err != nil || len(l.Records) != 0 || len(l.Notes) != 1 {
			t.Errorf("cut: %v %+v", err, l)
		}
	}
}

// Damaged pcapng files: what came before the damage is read, and the damage noted.
func TestPCAPNGDamage(t *testing.T) {
	o := binary.LittleEndian
	good := pcapngFile(o)
	head := good[:len(good)-ngLast(good)]
	packet := good[len(head):]
	join := func(parts ...[]byte) []byte { return bytes.Join(parts, nil) }
	badIface := append([]byte{}, packet...)
	badIface[8] = 9
	tooLong := append([]byte{}, packet...)
	tooLong[20] = 200
	wrongSize := append([]byte{}, packet...)
	wrongSize[4] = 13
	for _, c := range []struct {
		name    string
		file    []byte
		records int
		note    string
	}{
		{"unknown interface", join(head, badIface, packet), 1, "names interface 9"},
		{"packet longer than block", join(head, tooLong, packet), 1, "longer than its block"},
		{"block size", join(head, packet, wrongSize, packet), 1, "damaged from here on"},
		{"short packet block", join(head, ngBlock(o, blockEnhanced, make([]byte, 8)), packet), 1, "too short"},
		{"short simple block", join(head, ngBlock(o, blockSimple, nil), packet), 1, "too short"},
	} {
		l, err := ReadAll(bytes.NewReader(c.file), Options{})
		if err != nil || len(l.Records) != c.records || len(l.Notes) != 1 || !l.Notes[0].Lost || !strings.Contains(l.Notes[0].Text, c.note) {
			t.Errorf("%s: %v %+v", c.name, err, l)
		}
	}
	// A simple packet block has no time stamp.
	frame := []byte{11, 0, 0, 0, 0, 0, 0x07, 0xE8, 3, 0, 0, 0, 0x02, 0x41, 0x00}
	l, err := ReadAll(bytes.NewReader(join(head, ngBlock(o, blockSimple, frame))), Options{})
	if err != nil || len(l.Records) != 1 || l.Records[0].Is(HasTime) || describe(l.Records[0]) != "if0 7E8 [3] 024100" {
		t.Errorf("%v %+v", err, l)
	}
	for name, file := range map[string][]byte{"cut": good[:10], "no byte-order mark": append(append([]byte{}, good[:8]...), make([]byte, 20)...)} {
		if _, err := ReadAll(bytes.NewReader(file), Options{}); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// ngLast is the length of the last block of a file.
func ngLast(b []byte) int { return int(binary.LittleEndian.Uint32(b[len(b)-4:])) }

type order interface {
	binary.ByteOrder
	binary.AppendByteOrder
}
