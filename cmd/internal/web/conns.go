package web

import (
	"net"
	"net/http"
	"sync"
	"time"
)

// conns bounds the open connections of a server. Over the limit, the one that has
// waited longest without a request under way is closed, so that thousands of idle
// connections cannot keep people out; when all are busy, the new one is closed.
type conns struct {
	most int

	mu   sync.Mutex
	all  map[net.Conn]struct{}
	idle map[net.Conn]time.Time // waiting for a request, since when
}

func newConns(most int) *conns {
	return &conns{most: most, all: map[net.Conn]struct{}{}, idle: map[net.Conn]time.Time{}}
}

// state is http.Server.ConnState.
func (c *conns) state(conn net.Conn, s http.ConnState) {
	var victim net.Conn
	c.mu.Lock()
	switch s {
	case http.StateNew:
		c.all[conn] = struct{}{}
		c.idle[conn] = time.Now()
		if len(c.all) > c.most {
			victim = c.oldest(conn)
		}
	case http.StateActive:
		delete(c.idle, conn)
	case http.StateIdle:
		c.idle[conn] = time.Now()
	case http.StateClosed, http.StateHijacked:
		delete(c.all, conn)
		delete(c.idle, conn)
	}
	if victim != nil { // its own goroutine tells of it later; it counts no more
		delete(c.all, victim)
		delete(c.idle, victim)
	}
	c.mu.Unlock()
	if victim != nil {
		_ = victim.Close()
	}
}

// count returns how many connections are open.
func (c *conns) count() int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return len(c.all)
}

// oldest returns the connection that has waited longest, the new one when no other
// waits.
func (c *conns) oldest(fresh net.Conn) net.Conn {
	victim := fresh
	var since time.Time
	for conn, t := range c.idle {
		if conn != fresh && (victim == fresh || t.Before(since)) {
			victim, since = conn, t
		}
	}
	return victim
}

// open returns how many connections there are.
func (c *conns) open() int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return len(c.all)
}
