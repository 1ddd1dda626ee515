package measure

import (
	"bufio"
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"plantframe/pipeline/swing"
)

const reference = "../../testdata/reference"

// checks returns the published answers by name.
func checks(t *testing.T) map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join(reference, "checks.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]string{}
	for _, r := range rows[1:] {
		out[r[0]] = r[2]
	}
	return out
}

func answer(t *testing.T, c map[string]string, name string) []float64 {
	t.Helper()
	s, ok := c[name]
	if !ok {
		t.Fatalf("no check named %s", name)
	}
	var out []float64
	for _, p := range strings.FieldsFunc(s, func(r rune) bool { return !strings.ContainsRune("0123456789.-", r) }) {
		v, err := strconv.ParseFloat(p, 64)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		out = append(out, v)
	}
	return out
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %.9g, want %.9g +- %g", what, got, want, tolerance)
	}
}

// table reads one of the segment tables: name to columns.
func table(t *testing.T, file string) map[string][]float64 {
	t.Helper()
	f, err := os.Open(filepath.Join(reference, file))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	out := map[string][]float64{}
	s := bufio.NewScanner(f)
	for first := true; s.Scan(); first = false {
		c := strings.Split(s.Text(), "\t")
		if first || len(c) < 4 {
			continue
		}
		var v []float64
		for _, x := range c[2:] {
			n, err := strconv.ParseFloat(strings.TrimSpace(x), 64)
			if err != nil {
				n = math.NaN()
			}
			v = append(v, n)
		}
		out[c[0]] = v
	}
	if len(out) == 0 {
		t.Fatalf("%s holds no segments", file)
	}
	return out
}

// The tables in the code are those of de Leva (1996).
func TestBodyTablesAgainstDeLeva(t *testing.T) {
	known := checks(t)
	for _, c := range []struct {
		file, sum string
		b         bodyTable
	}{
		{"BSPmale_ZdeLeva.txt", "deLeva_mass_sum_male", deLevaMale},
		{"BSPfemale_ZdeLeva.txt", "deLeva_mass_sum_female", deLevaFemale},
	} {
		f := table(t, c.file)
		pairs := map[string]segment{
			"Trunk 3": c.b.trunk, "Upper arm": c.b.upperArm, "Forearm": c.b.forearm,
			"Thigh": c.b.thigh, "Shank": c.b.shank, "Foot": c.b.foot,
		}
		for name, s := range pairs {
			near(t, c.file+" "+name+" mass", s.mass, f[name][0], 0)
			near(t, c.file+" "+name+" centre", s.cm, f[name][1], 0)
		}
		near(t, c.file+" head mass", c.b.head.mass, f["Head"][0], 0)
		near(t, c.file+" hand mass", c.b.hand.mass, f["Hand"][0], 0)
		b := c.b
		sum := b.head.mass + b.trunk.mass + 2*(b.upperArm.mass+b.forearm.mass+b.hand.mass+b.thigh.mass+b.shank.mass+b.foot.mass)
		near(t, c.sum, sum, answer(t, known, c.sum)[0], 1e-9)
	}
	w := table(t, "BSP_DempsterWinter.txt")
	sum := w["Trunk head neck"][0] + 2*w["Total arm"][0] + 2*w["Total leg"][0]
	near(t, "winter_mass_sum", sum, answer(t, known, "winter_mass_sum")[0], 1e-9)
}

// The lower limb of Winter (2009) with its printed answers, and the answer of
// the common mistake, which must not come out.
func TestLowerLimbExample(t *testing.T) {
	known := checks(t)
	w := table(t, "BSP_DempsterWinter.txt")
	const mass = 100
	toe, ankle := swing.Point{X: 1.011, Y: 0.013}, swing.Point{X: 0.849, Y: 0.110}
	knee, hip := swing.Point{X: 0.864, Y: 0.549}, swing.Point{X: 0.721, Y: 0.928}
	part := func(name string, a, b swing.Point) Rigid {
		r := w[name] // mass, centre from proximal, from distal, gyration about the centre
		return Segment(a, b, r[0]*mass, r[1], r[3])
	}
	limb := []Rigid{part("Foot", ankle, toe), part("Leg", knee, ankle), part("Thigh", hip, knee)}
	centre := CentreOfMass(limb)
	for name, p := range map[string]swing.Point{
		"foot_cm": limb[0].Centre, "leg_cm": limb[1].Centre, "thigh_cm": limb[2].Centre, "limb_cm": centre,
	} {
		want := answer(t, known, name)
		near(t, name+" x", p.X, want[0], 5e-6)
		near(t, name+" y", p.Y, want[1], 5e-6)
	}
	near(t, "limb_I_cm", InertiaAbout(centre, limb), answer(t, known, "limb_I_cm")[0], 1e-5)
	near(t, "limb_I_hip", InertiaAbout(hip, limb), answer(t, known, "limb_I_hip")[0], 1e-5)
	wrong := answer(t, known, "limb_I_wrong_must_not_match")[0]
	for _, a := range []swing.Point{hip, centre} {
		if got := InertiaAbout(a, limb); math.Abs(got-wrong) < 0.01 {
			t.Errorf("inertia %.4f is the answer of the mistake that forgets the parts' distances", got)
		}
	}
}

// Spreading a segment's mass over its ends leaves the centre where the table
// puts it.
func TestMassWeights(t *testing.T) {
	var pos [swing.NumPoints]swing.Point
	for j := range pos {
		pos[j] = swing.Point{X: math.Sin(3.1 * float64(j)), Y: math.Cos(1.7 * float64(j*j))}
	}
	for _, c := range []struct {
		sex string
		b   bodyTable
	}{{"male", deLevaMale}, {"female", deLevaFemale}} {
		at := func(p, d swing.Joint, s segment) Rigid { return Segment(pos[p], pos[d], s.mass, s.cm, 0) }
		ears := pos[swing.LeftEar].Mid(pos[swing.RightEar])
		sh, hip := pos[swing.LeftShoulder].Mid(pos[swing.RightShoulder]), pos[swing.LeftHip].Mid(pos[swing.RightHip])
		parts := []Rigid{{Mass: c.b.head.mass, Centre: ears}, Segment(sh, hip, c.b.trunk.mass, c.b.trunk.cm, 0)}
		for _, s := range []swing.Side{lead, rear} {
			parts = append(
				parts,
				at(s.Shoulder, s.Elbow, c.b.upperArm), at(s.Elbow, s.Wrist, c.b.forearm),
				Rigid{Mass: c.b.hand.mass, Centre: pos[s.Wrist]},
				at(s.Hip, s.Knee, c.b.thigh), at(s.Knee, s.Ankle, c.b.shank), at(s.Heel, s.BigToe, c.b.foot),
			)
		}
		want := CentreOfMass(parts)
		var got swing.Point
		sum := 0.0
		for j, w := range MassWeights(c.sex) {
			got, sum = got.Add(pos[j].Scale(w)), sum+w
		}
		near(t, c.sex+" weights sum", sum, 1, 1e-12)
		near(t, c.sex+" x", got.X, want.X, 1e-12)
		near(t, c.sex+" y", got.Y, want.Y, 1e-12)
	}
	m, f, mean := MassWeights("male"), MassWeights("female"), MassWeights("")
	for j := range mean {
		near(t, "mean weight", mean[j], (m[j]+f[j])/2, 1e-15)
	}
}
