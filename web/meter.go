package web

import (
	"crypto/hmac"
	"encoding/hex"
	"strconv"
)

// tokenForMeter lets one meter send samples for one watch of one run. It is signed with
// the key of this process: after a restart of the workbench a meter needs a new one,
// and until it has it the screen says that nothing is watched.
func (s *Server) tokenForMeter(id, run, watch string) string {
	return hex.EncodeToString(s.seal([]byte("meter" + strconv.Quote(id) + strconv.Quote(run) + strconv.Quote(watch))))
}

func (s *Server) meterToken(given, id, run, watch string) bool {
	return hmac.Equal([]byte(given), []byte(s.tokenForMeter(id, run, watch)))
}
