package main

import (
	"fmt"
	"os"
	"os/signal"
	"syscall"
	"time"

	"bayward/agent/lease"
)

// server answers one agent at a time. Its loop allocates nothing for a frame and waits
// for nothing but the next event.
type server struct {
	keeper  *lease.Keeper
	user    int // who may connect, besides root and this process's own user
	log     *messages
	manager manager

	epoll    int
	listener int
	peer     int // the agent's connection, or none
	list     [events]syscall.EpollEvent
	frame    [lease.RequestSize + 1]byte // one more, to notice a frame that is too long
	answer   [lease.AnswerSize]byte
	trips    uint64 // that were reported
}

const none = -1

// What the loop waits for, in the order in which it is served.
const (
	onSignal = iota
	onPeer
	onListener
	events
)

// listen opens the socket and waits for signals from here on.
func (s *server) listen(path string) (err error) {
	if s.epoll, err = syscall.EpollCreate1(syscall.EPOLL_CLOEXEC); err != nil {
		return fmt.Errorf("create an epoll: %w", err)
	}
	ends, err := signals()
	if err != nil {
		return err
	}
	const kind = syscall.SOCK_SEQPACKET | syscall.SOCK_CLOEXEC | syscall.SOCK_NONBLOCK
	if s.listener, err = syscall.Socket(syscall.AF_UNIX, kind, 0); err != nil {
		return fmt.Errorf("create a socket: %w", err)
	}
	if err := os.Remove(path); err != nil && !os.IsNotExist(err) { // of a keeper that was killed
		return err
	}
	if err := syscall.Bind(s.listener, &syscall.SockaddrUnix{Name: path}); err != nil {
		return fmt.Errorf("bind %s: %w", path, err)
	}
	if err := os.Chmod(path, 0o666); err != nil { //nolint:gosec // the kernel says who connects, see refusal
		return err
	}
	const waiting = 8 // connections
	if err := syscall.Listen(s.listener, waiting); err != nil {
		return fmt.Errorf("listen on %s: %w", path, err)
	}
	if err := s.watch(ends, onSignal); err != nil {
		return err
	}
	return s.watch(s.listener, onListener)
}

// signals returns a pipe that becomes readable when a signal asks the keeper to end.
func signals() (int, error) {
	var pipe [2]int
	if err := syscall.Pipe2(pipe[:], syscall.O_CLOEXEC); err != nil {
		return none, fmt.Errorf("create a pipe: %w", err)
	}
	signal.Ignore(syscall.SIGPIPE) // whoever reads the messages may go
	came := make(chan os.Signal, 1)
	signal.Notify(came, syscall.SIGTERM, syscall.SIGINT, syscall.SIGHUP, syscall.SIGQUIT)
	go func() {
		<-came
		_ = syscall.Close(pipe[1])
	}()
	return pipe[0], nil
}

func (s *server) watch(fd, event int) error {
	e := syscall.EpollEvent{Events: syscall.EPOLLIN | syscall.EPOLLRDHUP, Fd: int32(event)}
	if err := syscall.EpollCtl(s.epoll, syscall.EPOLL_CTL_ADD, fd, &e); err != nil {
		return fmt.Errorf("watch a descriptor: %w", err)
	}
	return nil
}

// run serves until a signal comes.
func (s *server) run() error {
	for {
		if ended, err := s.turn(); ended || err != nil {
			return err
		}
	}
}

// turn waits for events and serves them.
func (s *server) turn() (ended bool, err error) {
	n, err := syscall.EpollWait(s.epoll, s.list[:], s.pause(bootTime()))
	if err == syscall.EINTR { //nolint:errorlint // a bare number
		n, err = 0, nil
	}
	if err != nil {
		return false, fmt.Errorf("wait for events: %w", err)
	}
	now := bootTime()
	s.keeper.Expire(now) // before any frame: those that have waited must not hide that it was late
	s.report(now)
	var came [events]uint32
	for _, e := range s.list[:n] {
		came[e.Fd] = e.Events
	}
	switch {
	case came[onPeer]&(syscall.EPOLLHUP|syscall.EPOLLRDHUP|syscall.EPOLLERR) != 0:
		s.drop(now) // and the frames that it has left behind
	case came[onPeer] != 0:
		s.exchange()
	}
	if came[onListener] != 0 {
		err = s.accept(now)
	}
	return came[onSignal] != 0, err
}

// pause returns how long to wait, in ms, or -1 for as long as nothing comes.
func (s *server) pause(now time.Duration) int {
	d := s.keeper.Next(now)
	if ping := s.manager.ping(now); d < 0 || ping >= 0 && ping < d {
		d = ping
	}
	if d < 0 {
		return -1
	}
	return int((d + time.Millisecond - 1) / time.Millisecond)
}

func (s *server) report(now time.Duration) {
	if trips := s.keeper.Trips(); trips != s.trips {
		s.trips = trips
		s.log.say(now, tripped, "leases have ended without the agent: %d since the start", trips)
	}
}

// exchange answers one frame. Its time is read after the frame, which must not be from
// the future.
func (s *server) exchange() {
	n, err := syscall.Read(s.peer, s.frame[:])
	now := bootTime()
	if err == nil {
		err = s.keeper.Answer(now, s.frame[:max(n, 0)], &s.answer)
	}
	if err == nil {
		_, err = syscall.Write(s.peer, s.answer[:])
	}
	if err != nil {
		s.log.say(now, refused, "the connection is dropped: %v", err)
		s.drop(now)
	}
}

// drop ends the connection, if there is one, and opens every relay.
func (s *server) drop(now time.Duration) {
	if s.peer == none {
		return
	}
	_ = syscall.Close(s.peer)
	s.peer = none
	if err := s.keeper.Release(); err != nil {
		s.log.say(now, stuck, "%v", err)
	}
}

// accept takes the next connection. The error is one that could go on forever.
func (s *server) accept(now time.Duration) error {
	fd, _, err := syscall.Accept4(s.listener, syscall.SOCK_NONBLOCK|syscall.SOCK_CLOEXEC)
	switch err {
	case nil:
	case syscall.EAGAIN, syscall.EINTR, syscall.ECONNABORTED:
		return nil
	default:
		return fmt.Errorf("accept a connection: %w", err)
	}
	if why := s.refusal(fd, now); why != nil {
		s.log.say(now, refused, "a connection is refused: %v", why)
		_ = syscall.Close(fd)
		return nil
	}
	s.drop(now)
	s.peer = fd
	return s.watch(fd, onPeer)
}

// refusal returns why a connection is not taken.
func (s *server) refusal(fd int, now time.Duration) error {
	who, err := syscall.GetsockoptUcred(fd, syscall.SOL_SOCKET, syscall.SO_PEERCRED)
	switch {
	case err != nil:
		return err
	case who.Uid != 0 && int(who.Uid) != s.user && int(who.Uid) != os.Getuid():
		return fmt.Errorf("user %d (process %d) is neither root nor user %d", who.Uid, who.Pid, s.user)
	case s.peer != none && !s.keeper.Free(now):
		return fmt.Errorf("process %d: another agent has the relays", who.Pid)
	}
	return nil
}
