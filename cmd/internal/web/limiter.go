package web

import (
	"net"
	"net/http"
	"net/netip"
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// Wrong passwords that one sender and all together may try. One sender: five at once
// and then four a minute, so that a slip costs nothing and a list of a thousand common
// passwords takes four hours. All together: a botnet in the house is unlikely, but
// each check costs 20 MB and 30 ms.
const (
	senderBurst = 5
	senderEvery = 15 * time.Second
	allBurst    = 50
	allEvery    = time.Second
	// mostSenders bounds the memory; the one heard of least recently is forgotten.
	mostSenders = 4096
)

// limiter counts wrong passwords. Right ones and requests without any cost nothing.
type limiter struct {
	now func() time.Time
	all *rate.Limiter

	mu      sync.Mutex
	senders map[netip.Prefix]*sender
}

type sender struct {
	*rate.Limiter
	last time.Time
}

func newLimiter(now func() time.Time) *limiter {
	return &limiter{now: now, all: rate.NewLimiter(rate.Every(allEvery), allBurst), senders: map[netip.Prefix]*sender{}}
}

// attempt asks whether a sender may try a password. The try counts as a wrong one at
// once, so that many at the same moment count too; right gives it back.
func (l *limiter) attempt(from netip.Prefix) (right func(), ok bool) {
	now := l.now()
	one := l.sender(from, now)
	if !one.AllowN(now, 1) {
		return nil, false
	}
	if !l.all.AllowN(now, 1) {
		one.AllowN(now, -1)
		return nil, false
	}
	return func() { // taking -1 puts one back; never more than the burst is kept
		one.AllowN(now, -1)
		l.all.AllowN(now, -1)
	}, true
}

func (l *limiter) sender(from netip.Prefix, now time.Time) *sender {
	l.mu.Lock()
	defer l.mu.Unlock()
	s := l.senders[from]
	if s == nil {
		if len(l.senders) >= mostSenders {
			var oldest netip.Prefix
			first := true
			for k, v := range l.senders {
				if first || v.last.Before(l.senders[oldest].last) {
					oldest, first = k, false
				}
			}
			delete(l.senders, oldest)
		}
		s = &sender{Limiter: rate.NewLimiter(rate.Every(senderEvery), senderBurst)}
		l.senders[from] = s
	}
	s.last = now
	return s
}

// senderOf is who sent a request: its address, or the /64 of an IPv6 address, which one
// household has. Headers that a proxy adds are not believed: anybody can write them.
func senderOf(r *http.Request) netip.Prefix {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		host = r.RemoteAddr
	}
	a, err := netip.ParseAddr(host)
	if err != nil {
		return netip.Prefix{}
	}
	a = a.Unmap().WithZone("")
	bits := 32
	if a.Is6() {
		bits = 64
	}
	p, _ := a.Prefix(bits)
	return p
}
