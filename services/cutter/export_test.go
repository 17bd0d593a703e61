package cutter

// TakeDesks takes all desks, and gives a way to free them.
func (s *Server) TakeDesks() (free func()) {
	for range cap(s.desks) {
		s.desks <- struct{}{}
	}
	return func() {
		for range cap(s.desks) {
			<-s.desks
		}
	}
}
