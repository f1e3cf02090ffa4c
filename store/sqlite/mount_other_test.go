//go:build !linux

package sqlite

import "errors"

func mountSmall(string, int) (func() error, error) {
	return nil, errors.New("only done on Linux")
}
