package pose

import (
	"math"

	"plantframe/pipeline/pixel"
	"plantframe/pipeline/signal"
	"plantframe/pipeline/swing"
)

// look is one coarse look at a person.
type look struct {
	time        float64 // s
	hip         swing.Point
	left, right swing.Point // hands
	score       float64     // 0..1, mean of the hands
	size        float64     // px
}

// person is somebody in the picture, followed coarsely.
type person struct {
	looks []look
	b     body    // newest
	time  float64 // of b, s
	alive bool    // seen at the newest look
	// Looks for a bat in the hands.
	asked          float64 // s, time of the last one
	tries, holding int
}

func (p *person) place() place { return place{p.time, p.b.hip, p.b.size} }

// note records b as seen at a time.
func (p *person) note(b *body, time float64) {
	p.b, p.time, p.alive = *b, time, true
	l, r := b.points[swing.LeftHand], b.points[swing.RightHand]
	p.looks = append(p.looks, look{
		time: time, hip: b.hip, left: l.Point(), right: r.Point(),
		score: (l.Score + r.Score) / 2, size: b.size,
	})
}

// torso returns the median size over all looks, px.
func (p *person) torso() float64 {
	s := make([]float64, len(p.looks))
	for i, l := range p.looks {
		s[i] = l.size
	}
	return signal.Median(s)
}

// crowd keeps everybody's coarse track. In Follow the followed hitter is
// people[0] and is fed from the fine network.
type crowd struct {
	e       *Estimator
	every   float64 // s between searches; 0 = none
	people  []*person
	hitter  *person // followed finely; nil in Scan
	looked  float64 // s, time of the last coarse look
	search  float64 // s, time of the last search
	found   []detection
	scratch body
}

func newCrowd(e *Estimator, every float64) *crowd {
	return &crowd{e: e, every: every, looked: math.Inf(-1), search: math.Inf(-1)}
}

// reviveWithin is how long somebody may be out of sight and still count as the
// same person, s.
const reviveWithin = 3.0

// due reports whether it is time for a coarse look.
func (c *crowd) due(time float64) bool { return time-c.looked >= 1/c.e.o.ScanRate-1e-6 }

// step looks at everybody in f; call it when due.
func (c *crowd) step(f swing.Frame) error {
	c.looked = f.Time
	for _, p := range c.people {
		if !p.alive || p == c.hitter {
			continue
		}
		ok, err := c.e.coarse.look(f, p.b.next, &c.scratch)
		if err != nil {
			return err
		}
		if !ok || p.place().step(&c.scratch, f.Time) > 1 || c.twin(&c.scratch, p) != nil {
			p.alive = false // left, or its crop slipped to somebody else
			continue
		}
		p.note(&c.scratch, f.Time)
	}
	if c.every > 0 && f.Time-c.search >= c.every-1e-6 {
		c.search = f.Time
		if err := c.searchPeople(f); err != nil {
			return err
		}
	}
	return c.askForBats(f)
}

// twin returns somebody alive, other than p, whose body b is.
func (c *crowd) twin(b *body, p *person) *person {
	for _, q := range c.people {
		// Everybody alive was seen at this frame or one look ago.
		if q != p && q.alive && apart(&q.b, b) < seenApart {
			return q
		}
	}
	return nil
}

// searchPeople finds people who are not followed yet.
func (c *crowd) searchPeople(f swing.Frame) error {
	if err := c.find(f); err != nil {
		return err
	}
	largest := 0.0
	for _, p := range c.people {
		if p.alive {
			largest = math.Max(largest, p.b.size*radiusPerSize)
		}
	}
	for _, d := range c.found {
		largest = math.Max(largest, d.radius)
	}
	for i := range c.found {
		d := &c.found[i]
		if d.radius < smallest*largest || 2*d.radius < c.e.o.MinHeight || c.count() >= c.e.o.MaxPeople || c.known(d) {
			continue
		}
		ok, err := c.e.coarse.look(f, c.e.coarse.start(d), &c.scratch)
		if err != nil {
			return err
		}
		if ok && c.twin(&c.scratch, nil) == nil {
			c.meet(&c.scratch, f.Time)
		}
	}
	return nil
}

// find fills found. The pose detector is exact but sees mainly the most
// prominent person; NanoDet sees the others and people far away. Follow needs
// only the others.
func (c *crowd) find(f swing.Frame) error {
	var err error
	c.found = c.found[:0]
	boxes := c.e.objects != nil && c.e.people != detector(c.e.objects)
	if c.hitter == nil || !boxes {
		if c.found, err = c.e.people.detect(f, c.found); err != nil {
			return err
		}
	}
	if boxes {
		c.found, err = c.e.objects.detect(f, c.found)
	}
	return err
}

// radiusPerSize is the radius of the circle round a standing body in torsos:
// the hips are in the middle of stature, which is 3.5 torsos (0.288 of stature
// from mid-hip to mid-shoulder, Drillis and Contini 1966).
const radiusPerSize = 1.75

// smallest is the share of the largest person's size under which somebody is
// too far away to be the hitter.
const smallest = 0.3

// known reports whether d is somebody already followed.
func (c *crowd) known(d *detection) bool {
	for _, p := range c.people {
		if !p.alive {
			continue
		}
		r := p.b.size * radiusPerSize
		if d.hip.Sub(p.b.hip).Norm() < 0.3*math.Max(r, d.radius) {
			return true
		}
	}
	return false
}

// meet adds b as somebody who came back or as somebody new.
func (c *crowd) meet(b *body, time float64) {
	var back *person
	best := 1.0
	for _, p := range c.people {
		if p.alive || p == c.hitter || time-p.time > reviveWithin {
			continue
		}
		if s := p.place().step(b, time); s < best {
			back, best = p, s
		}
	}
	if back == nil {
		back = &person{asked: math.Inf(-1)}
		c.people = append(c.people, back)
	}
	back.note(b, time)
}

// count returns how many people are in sight.
func (c *crowd) count() int {
	n := 0
	for _, p := range c.people {
		if p.alive {
			n++
		}
	}
	return n
}

// askForBats looks into the hands of everybody whose turn it is and whose
// hands are together. With one person in sight there is nothing to choose and
// nobody is asked in Follow.
func (c *crowd) askForBats(f swing.Frame) error {
	if c.e.objects == nil || (c.hitter != nil && c.count() < 2) {
		return nil
	}
	for _, p := range c.people {
		every := c.e.o.ObjectEvery
		if p.tries >= enoughTries {
			every *= seldom
		}
		if !p.alive || f.Time-p.asked < every || handsApart(&p.b) > together {
			continue
		}
		p.asked = f.Time
		p.tries++
		holds, err := c.e.holdsBat(f, &p.b)
		if err != nil {
			return err
		}
		if holds {
			p.holding++
		}
	}
	return nil
}

// seldom is how many times rarer the looks for a bat become once there have
// been enough.
const seldom = 4

// together is the distance of the hands, in torsos, up to which they can be on
// one handle: two fists are 0.2 torso apart, the rest is the networks' error.
const together = 0.6

func handsApart(b *body) float64 {
	return b.points[swing.LeftHand].Point().Sub(b.points[swing.RightHand].Point()).Norm() / b.size
}

// holdsBat looks for a bat in a square round the hands: the box must hold the
// hands (give or take a quarter torso) and be longer than half a torso.
func (e *Estimator) holdsBat(f swing.Frame, b *body) (bool, error) {
	const half, minScore, slack, minLength = 2.2, 0.1, 0.25, 0.5 // torsos but for the score
	hand := b.hand()
	found, err := e.objects.look(f, pixel.Square(hand, 2*half*b.size, 0), classBat, minScore)
	if err != nil {
		return false, err
	}
	room := slack * b.size
	for _, d := range found {
		q := d.box
		if hand.X > q.X0-room && hand.X < q.X1+room && hand.Y > q.Y0-room && hand.Y < q.Y1+room &&
			math.Hypot(q.X1-q.X0, q.Y1-q.Y0) > minLength*b.size {
			return true, nil
		}
	}
	return false, nil
}
