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
		b         swing.BodyTable
	}{
		{"BSPmale_ZdeLeva.txt", "deLeva_mass_sum_male", swing.DeLevaMale()},
		{"BSPfemale_ZdeLeva.txt", "deLeva_mass_sum_female", swing.DeLevaFemale()},
	} {
		f := table(t, c.file)
		pairs := map[string]swing.Segment{
			"Trunk 3": c.b.Trunk, "Upper arm": c.b.UpperArm, "Forearm": c.b.Forearm,
			"Thigh": c.b.Thigh, "Shank": c.b.Shank, "Foot": c.b.Foot,
		}
		for name, s := range pairs {
			near(t, c.file+" "+name+" mass", s.Mass, f[name][0], 0)
			near(t, c.file+" "+name+" centre", s.Centre, f[name][1], 0)
		}
		for name, s := range pairs {
			near(t, c.file+" "+name+" gyration", s.Gyration, (f[name][2]+f[name][3])/2, 1e-12)
		}
		near(t, c.file+" head mass", c.b.Head.Mass, f["Head"][0], 0)
		near(t, c.file+" hand mass", c.b.Hand.Mass, f["Hand"][0], 0)
		b := c.b
		sum := b.Head.Mass + b.Trunk.Mass + 2*(b.UpperArm.Mass+b.Forearm.Mass+b.Hand.Mass+b.Thigh.Mass+b.Shank.Mass+b.Foot.Mass)
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
		b   swing.BodyTable
	}{{"male", swing.DeLevaMale()}, {"female", swing.DeLevaFemale()}} {
		at := func(p, d swing.Joint, s swing.Segment) Rigid { return Segment(pos[p], pos[d], s.Mass, s.Centre, 0) }
		ears := pos[swing.LeftEar].Mid(pos[swing.RightEar])
		sh, hip := pos[swing.LeftShoulder].Mid(pos[swing.RightShoulder]), pos[swing.LeftHip].Mid(pos[swing.RightHip])
		parts := []Rigid{{Mass: c.b.Head.Mass, Centre: ears}, Segment(sh, hip, c.b.Trunk.Mass, c.b.Trunk.Centre, 0)}
		for _, s := range []swing.Side{lead, rear} {
			parts = append(
				parts,
				at(s.Shoulder, s.Elbow, c.b.UpperArm), at(s.Elbow, s.Wrist, c.b.Forearm),
				Rigid{Mass: c.b.Hand.Mass, Centre: pos[s.Wrist]},
				at(s.Hip, s.Knee, c.b.Thigh), at(s.Knee, s.Ankle, c.b.Shank), at(s.Heel, s.BigToe, c.b.Foot),
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
