package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const (
	hook = "../../testdata/meshes/public/p06_undercut_hook.stl"
	horn = "../../testdata/meshes/public/p08a_horn_left.stl"
	hare = "../../testdata/meshes/hare.glb"
)

// The hook's surface is 0.1008 m2 and its volume 0.00104 m3 (computed by hand, as its
// values.json has them): at ten times its size 10.08 m2 and 1.04 m3, by either way of
// measuring.
func TestAMeshIsMeasured(t *testing.T) {
	for _, args := range [][]string{{}, {"--quick"}} {
		got := run(t, nil, append([]string{"measure", hook, "--unit", "mm", "--scale", "10"}, args...)...)
		if got.status != 0 || got.errors != "" {
			t.Fatalf("%v: status %d: %s", args, got.status, got.errors)
		}
		for _, want := range []string{"10.080 m2", "1.040 m3", "at 10 times the size"} {
			if !strings.Contains(got.out, want) {
				t.Errorf("%v: no %q in\n%s", args, want, got.out)
			}
		}
	}
	got := run(t, nil, "measure", hook, "--unit", "mm", "--scale", "10", "--json")
	if !strings.HasPrefix(got.out, `{"takeoff":{`) || !strings.Contains(got.out, `"surfaceM2":10.08,`) || strings.Count(got.out, "\n") != 1 {
		t.Errorf("as JSON: %s", got.out)
	}
}

// A mesh is told from its like beside it, and drawn, whole or not at all.
func TestAMeshIsComparedAndDrawn(t *testing.T) {
	for _, name := range []string{"hook.png", "hook.SVG"} {
		file := filepath.Join(t.TempDir(), name)
		got := run(t, nil, "measure", hook, "--unit", "mm", "--beside", horn, "--picture", file, "--width", "320")
		if got.status != 0 || !strings.HasSuffix(got.out, "Beside p08a_horn_left.stl: different forms\n") {
			t.Errorf("status %d: %s%s", got.status, got.out, got.errors)
		}
		if drawn, err := os.ReadFile(file); err != nil || len(drawn) < 100 {
			t.Errorf("%s: %d bytes, %v", name, len(drawn), err)
		}
	}
	folder := t.TempDir()
	if got := run(t, nil, "measure", hook, "--unit", "m", "--scale", "10000", "--picture", filepath.Join(folder, "a.png")); got.status != 1 {
		t.Errorf("drawn hundreds of kilometres high: status %d", got.status)
	}
	if left, err := os.ReadDir(folder); err != nil || len(left) > 0 {
		t.Errorf("left %v, %v", left, err)
	}
}

// What is wrong with a call of measure is told before anything is read or printed; what
// is wrong with a file or a layer for it, when it shows.
func TestCallsOfMeasureThatAreWrong(t *testing.T) {
	for says, row := range map[string]struct {
		args   []string
		status int
	}{
		"one file, got 0":               {nil, 2},
		"--scale: got NaN":              {[]string{"x.stl", "--scale", "nan"}, 2},
		"--layer: got -5":               {[]string{"x.stl", "--layer", "-5"}, 2},
		"--layer: got NaN":              {[]string{"x.stl", "--layer", "nan"}, 2},
		"--thin: got -1":                {[]string{"x.stl", "--thin", "-1"}, 2},
		"--width: got 1":                {[]string{"x.stl", "--width", "1"}, 2},
		"--picture: got \"x.gif\"":      {[]string{"x.stl", "--picture", "x.gif"}, 2},
		"--json prints one answer":      {[]string{"x.stl", "--json", "--beside", "y.stl"}, 2},
		"--pull: pulls[0]":              {[]string{"x.stl", "--pull", "0,0,0"}, 2},
		"--json is not for --quick":     {[]string{"x.stl", "--quick", "--json"}, 2},
		"--up is not for --quick":       {[]string{"x.stl", "--quick", "--up", "y"}, 2},
		"--unit: got \"yard\"":          {[]string{hook, "--unit", "yard"}, 2},
		"--up: got \"w\"":               {[]string{hook, "--up", "w"}, 2},
		"no-such.stl":                   {[]string{"no-such.stl"}, 1},
		"not a file":                    {[]string{"."}, 1},
		"allowed as --unit: mm, cm":     {[]string{hook}, 1},
		"--beside-unit: got \"yard\"":   {[]string{"x.stl", "--beside", "y.stl", "--beside-unit", "yard"}, 2},
		"both or neither":               {[]string{"x.stl", "--beside-unit", "mm"}, 2},
		"the file's own unit, or none":  {[]string{hare, "--unit", "mm"}, 1},
		"--layer: got layers of 0.1 mm": {[]string{hook, "--unit", "mm", "--scale", "10", "--layer", "0.1"}, 1},
	} {
		got := run(t, nil, append([]string{"measure"}, row.args...)...)
		if got.status != row.status || got.out != "" || !strings.Contains(got.errors, says) {
			t.Errorf("%v: status %d, want %d; printed %q; said:\n%s", row.args, got.status, row.status, got.out, got.errors)
		}
	}
}

// A brief whose mesh cannot be read is told why, whatever else is wrong with it.
func TestAMeshThatABriefCannotUse(t *testing.T) {
	folder := t.TempDir()
	doc, err := os.ReadFile("../../testdata/briefs/hare-from-maquette.json")
	if err != nil {
		t.Fatal(err)
	}
	half, err := os.ReadFile(hare)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(folder, "hare.glb"), half[:len(half)/2], 0o600); err != nil {
		t.Fatal(err)
	}
	for name, brief := range map[string]string{"sound": string(doc), "misspelt": strings.Replace(string(doc), `"client"`, `"cleint"`, 1)} {
		file := filepath.Join(folder, name+".json")
		if err := os.WriteFile(file, []byte(brief), 0o600); err != nil {
			t.Fatal(err)
		}
		got := run(t, nil, "quote", file)
		if got.status != 1 || !strings.Contains(got.errors, "meshes/hare") || !strings.Contains(got.errors, "hare.glb: ") {
			t.Errorf("%s: status %d, said:\n%s", name, got.status, got.errors)
		}
	}
}

// Of two files --unit is for those that carry none, whichever of the two that is; one that
// needs another unit has a flag of its own.
func TestAFileBesideHasItsOwnUnit(t *testing.T) {
	const inches = "../../testdata/meshes/public/p06_undercut_hook_inch.stl"
	for _, row := range []struct {
		args []string
		says string
	}{
		{[]string{hare, "--unit", "mm", "--beside", horn}, "different forms"},
		{[]string{horn, "--unit", "mm", "--beside", hare}, "different forms"},
		{[]string{hare, "--beside", hare}, "copies of one form"},
		{[]string{hook, "--unit", "mm", "--beside", inches, "--beside-unit", "in"}, "copies of one form"},
		{[]string{hook, "--unit", "mm", "--beside", inches}, "different forms"},
	} {
		got := run(t, nil, append([]string{"measure"}, row.args...)...)
		if last := got.out[strings.LastIndex(got.out, "Beside ")+1:]; got.status != 0 || !strings.Contains(last, row.says) && !strings.Contains(last, "the same form") {
			t.Errorf("%v: status %d, %s%s", row.args, got.status, last, got.errors)
		}
	}
}

// A brief's mesh that is nowhere is told what would do and where it was looked for; one
// without a unit, by which flag it is given; a folder that is not there is a wrong call.
func TestWhereABriefsMeshIsLookedFor(t *testing.T) {
	folder := t.TempDir()
	doc, err := os.ReadFile("../../testdata/briefs/hare-from-maquette.json")
	if err != nil {
		t.Fatal(err)
	}
	stl, err := os.ReadFile(hook)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(folder, "hook.stl"), stl, 0o600); err != nil {
		t.Fatal(err)
	}
	brief := func(name string) string {
		file := filepath.Join(folder, name+".json")
		if err := os.WriteFile(file, []byte(strings.Replace(string(doc), "meshes/hare", "meshes/"+name, 1)), 0o600); err != nil {
			t.Fatal(err)
		}
		return file
	}
	for says, row := range map[string]struct {
		args   []string
		status int
	}{
		"did you mean \"meshes/hook\"? allowed: hoook.glb, .gltf, .3mf, .ply, .obj or .stl in " + folder: {[]string{brief("hoook")}, 1},
		"hook.stl: STL files carry no unit: say how long one file unit is; allowed as --unit: mm,":       {[]string{brief("hook")}, 1},
		"--meshes: got \"" + folder + "/none\", allowed: a folder that is there":                         {[]string{brief("hook"), "--meshes", folder + "/none"}, 2},
	} {
		got := run(t, nil, append([]string{"quote"}, row.args...)...)
		if got.status != row.status || !strings.Contains(got.errors, says) || strings.Count(got.errors, "carry no unit") > 1 {
			t.Errorf("%v: status %d, no %q in:\n%s", row.args, got.status, says, got.errors)
		}
	}
}
