package random

import (
	"crypto/sha256"
	"encoding/binary"
	"math/rand/v2"
)

// Stream returns the stream at the address (seed, purpose, replicate). Equal addresses give
// equal numbers on every machine; addresses that differ in any part give unrelated ones.
// Purpose is a short plain name, such as "bootstrap" or "invented deaths".
//
// The generator is ChaCha8, keyed with the SHA-256 hash of the address; both are fixed by
// published standards, so a stream outlives versions of Go.
func Stream(seed uint64, purpose string, replicate uint64) *rand.Rand {
	address := make([]byte, 0, 16+len(purpose))
	address = binary.LittleEndian.AppendUint64(address, seed)
	address = binary.LittleEndian.AppendUint64(address, replicate)
	address = append(address, purpose...)
	return rand.New(rand.NewChaCha8(sha256.Sum256(address)))
}
