package server

import (
	"sync"
	"time"
)

// seldom lets one line a second into the log of what any stranger can cause without end, and
// counts the others: a log that fills a disk tells nobody anything.
type seldom struct {
	now func() time.Time

	mu   sync.Mutex
	last time.Time // when a line was let in
	left int       // out since
}

// may reports whether a line may be written, and how many were left out since the last.
func (s *seldom) may() (left int, ok bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	now := s.now()
	if now.Sub(s.last).Abs() < time.Second {
		s.left++
		return 0, false
	}
	left, s.last, s.left = s.left, now, 0
	return left, true
}
