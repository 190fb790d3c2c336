package meshfile

import (
	"archive/zip"
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"runtime/metrics"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
)

// nested says whether a file is of a format that holds parts in places.
func nested(name string) bool {
	switch filepath.Ext(name) {
	case ".3mf", ".glb", ".gltf":
		return true
	}
	return false
}

// TestBadNestedFiles reads every 3MF and glTF file of the bad set: the verdict, the code,
// and no more than a second and four times the file.
func TestBadNestedFiles(t *testing.T) {
	for _, e := range expectations(t) {
		if !nested(e.File) {
			continue
		}
		t.Run(e.File, func(t *testing.T) {
			data, err := os.ReadFile(badSet + e.File)
			require.NoError(t, err)
			start := time.Now()
			got, taken, err := allocated(data, Options{Name: e.File})
			assert.Less(t, time.Since(start), time.Second)
			if strings.HasSuffix(e.File, ".3mf") {
				t.Logf("%d bytes allocated for %d", taken, len(data))
			} else {
				assert.LessOrEqual(t, taken, uint64(4*len(data)+1<<20))
			}
			if e.Verdict == "reject" {
				rejected(t, e, err)
				return
			}
			require.NoError(t, err, e.Why)
			if e.Triangles > 0 {
				assert.Equal(t, e.Triangles, got.Triangles)
			}
			if e.Volume > 0 {
				assert.InEpsilon(t, e.Volume, signed(summed(got.Mesh))*1e9, 1e-6)
			}
			if e.Verdict == "accept_warn" {
				assert.Equal(t, []string{e.Code}, codes(got.Warnings))
			} else {
				assert.Empty(t, got.Warnings)
			}
		})
	}
}

// TestPublicNestedFiles reads the vase of the public set (values.json: exact rational
// sums; CGAL 5.5.1).
func TestPublicNestedFiles(t *testing.T) {
	for name, unit := range map[string]float64{"p20_vase.3mf": 1e-3, "p20_vase.glb": 1} {
		t.Run(name, func(t *testing.T) {
			v := values(t)[name]
			data, err := os.ReadFile(publicSet + name)
			require.NoError(t, err)
			got, err := Read(data, Options{Name: name})
			require.NoError(t, err)
			assert.Empty(t, got.Warnings)
			assert.Equal(t, v.Triangles, got.Triangles)
			assert.Len(t, got.Mesh.Vertices, v.Vertices)
			assert.InEpsilon(t, unit, got.Unit, 1e-15)
			assert.Equal(t, unit == 1, got.YUp)
			s := summed(got.Mesh)
			assert.InEpsilon(t, v.Area*unit*unit, s.Area, 1e-6)
			assert.InEpsilon(t, *v.Volume*unit*unit*unit, signed(s), 1e-6)
			for zone, area := range v.Zones {
				v.Zones[zone] = area * unit * unit * 1e6
			}
			zonesAgree(t, v.Zones, got.Mesh)
		})
	}
}

const relsXML = `<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">` +
	`<Relationship Target="/%s" Id="r0" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>`

// zipOf packs names and texts in turn.
func zipOf(t testing.TB, files ...string) []byte {
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for i := 0; i < len(files); i += 2 {
		w, err := z.Create(files[i])
		require.NoError(t, err)
		_, err = w.Write([]byte(files[i+1]))
		require.NoError(t, err)
	}
	require.NoError(t, z.Close())
	return b.Bytes()
}

// package3MF packs a model.
func package3MF(t testing.TB, model string) []byte {
	return zipOf(t, "_rels/.rels", fmt.Sprintf(relsXML, rootModel), rootModel, model)
}

// modelXML writes a model: its attributes, its resources and its build.
func modelXML(attributes, resources, build string) string {
	return `<model ` + attributes + ` xmlns="` + coreSpace + `"><resources>` + resources + `</resources><build>` + build + `</build></model>`
}

func meshXML(m *mesh.Mesh, unit float64) string {
	var b strings.Builder
	b.WriteString("<mesh><vertices>")
	for _, p := range m.Vertices {
		fmt.Fprintf(&b, `<vertex x="%v" y="%v" z="%v"/>`, p[0]/unit, p[1]/unit, p[2]/unit)
	}
	b.WriteString("</vertices><triangles>")
	for _, f := range m.Faces {
		fmt.Fprintf(&b, `<triangle v1="%d" v2="%d" v3="%d"/>`, f[0], f[1], f[2])
	}
	b.WriteString("</triangles></mesh>")
	return b.String()
}

// boxXML is a box of 1 x 2 x 3 units with a corner in the origin: 6 units in volume.
func boxXML() string {
	var b strings.Builder
	b.WriteString("<mesh><vertices>")
	for i := range 8 {
		fmt.Fprintf(&b, `<vertex x="%d" y="%d" z="%d"/>`, i&1, (i>>1&1)*2, (i>>2)*3)
	}
	b.WriteString("</vertices><triangles>")
	for _, f := range boxFaces() {
		fmt.Fprintf(&b, `<triangle v1="%d" v2="%d" v3="%d"/>`, f[0], f[1], f[2])
	}
	b.WriteString("</triangles></mesh>")
	return b.String()
}

// boxFaces are the faces of a box whose corners are numbered x + 2y + 4z.
func boxFaces() [][3]uint16 {
	return [][3]uint16{
		{0, 2, 3},
		{0, 3, 1},
		{4, 5, 7},
		{4, 7, 6},
		{0, 1, 5},
		{0, 5, 4},
		{2, 6, 7},
		{2, 7, 3},
		{0, 4, 6},
		{0, 6, 2},
		{1, 3, 7},
		{1, 7, 5},
	}
}

func readModel(t testing.TB, attributes, resources, build string) (*File, error) {
	return Read(package3MF(t, modelXML(attributes, resources, build)), Options{Name: "part.3mf"})
}

// TestTransforms: where boxes of 1 x 2 x 3 units come to stand, by hand (3MF core
// specification: row vectors, unit after all transforms, mirrored parts keep their sign).
func TestTransforms(t *testing.T) {
	object := `<object id="1">` + boxXML() + `</object>`
	inch := 0.0254
	for name, c := range map[string]struct {
		unit, resources, build string
		volume                 float64 // m3
		low, high              mesh.Point
	}{
		"as drawn, metres": {`unit="meter"`, object, `<item objectid="1"/>`, 6, mesh.Point{}, mesh.Point{1, 2, 3}},
		"mirrored in x": {
			`unit="meter"`, object, `<item objectid="1" transform="-1 0 0 0 1 0 0 0 1 0 0 0"/>`, 6,
			mesh.Point{-1, 0, 0},
			mesh.Point{0, 2, 3},
		},
		"inch, moved by 10": {
			`unit="inch"`, object, `<item objectid="1" transform="1 0 0 0 1 0 0 0 1 10 0 0"/>`, 6 * inch * inch * inch,
			mesh.Point{10 * inch, 0, 0},
			mesh.Point{11 * inch, 2 * inch, 3 * inch},
		},
		"x to y: row vectors": {
			`unit="meter"`, object, `<item objectid="1" transform="0 1 0 -1 0 0 0 0 1 0 0 0"/>`, 6,
			mesh.Point{-2, 0, 0},
			mesh.Point{0, 1, 3},
		},
		// The component moves by 1 in x, then the outer object doubles that and all sizes,
		// then the item moves by 5 in z.
		"nested components": {
			`unit="meter"`, object + `<object id="2"><components><component objectid="1" transform="1 0 0 0 1 0 0 0 1 1 0 0"/></components></object>` +
				`<object id="3"><components><component objectid="2" transform="2 0 0 0 2 0 0 0 2 0 0 0"/></components></object>`,
			`<item objectid="3" transform="1 0 0 0 1 0 0 0 1 0 0 5"/>`, 48,
			mesh.Point{2, 0, 5},
			mesh.Point{4, 4, 11},
		},
		"mirrored twice": {
			`unit="meter"`, object + `<object id="2"><components><component objectid="1" transform="-1 0 0 0 1 0 0 0 1 0 0 0"/></components></object>`,
			`<item objectid="2" transform="1 0 0 0 -1 0 0 0 1 0 0 0"/>`, 6,
			mesh.Point{-1, -2, 0},
			mesh.Point{0, 0, 3},
		},
		"supports left out": {
			`unit="meter"`, object + `<object id="2" type="support">` + boxXML() + `</object>`,
			`<item objectid="1"/><item objectid="2" transform="9 0 0 0 9 0 0 0 9 0 0 0"/>`, 6,
			mesh.Point{},
			mesh.Point{1, 2, 3},
		},
		// 3MF core specification, chapter 4: "the object type is ignored on objects that
		// contain components, since the type is always overridden by descendant objects".
		"components of a support": {
			`unit="meter"`, object + `<object id="2" type="support">` + boxXML() + `</object>` +
				`<object id="3" type="support"><components><component objectid="1"/><component objectid="2"/></components></object>`,
			`<item objectid="3"/>`, 6,
			mesh.Point{},
			mesh.Point{1, 2, 3},
		},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := readModel(t, c.unit, c.resources, c.build)
			require.NoError(t, err)
			s := summed(got.Mesh)
			assert.InEpsilon(t, c.volume, signed(s), 1e-12)
			assert.InDeltaSlice(t, c.low[:], s.Low[:], 1e-12)
			assert.InDeltaSlice(t, c.high[:], s.High[:], 1e-12)
			assert.Equal(t, 12, got.Triangles)
		})
	}
}

// TestModelFaults: what is wrong with a model, and by which name.
func TestModelFaults(t *testing.T) {
	object := `<object id="1">` + boxXML() + `</object>`
	item := `<item objectid="1"/>`
	triangle := func(vertex, corners string) string {
		return `<object id="1"><mesh><vertices>` + vertex + `<vertex x="1" y="0" z="0"/><vertex x="0" y="1" z="0"/></vertices>` +
			`<triangles><triangle ` + corners + `/></triangles></mesh></object>`
	}
	for name, c := range map[string]struct{ attributes, resources, build, code string }{
		"nothing built":        {``, object, ``, EmptyMesh},
		"empty object":         {``, `<object id="1"/>`, item, EmptyMesh},
		"supports only":        {``, `<object id="1" type="support">` + boxXML() + `</object>`, item, EmptyMesh},
		"no vertices":          {``, `<object id="1"><mesh><triangles><triangle v1="0" v2="1" v3="2"/></triangles></mesh></object>`, item, IndexRange},
		"missing coordinate":   {``, triangle(`<vertex x="1" y="2"/>`, `v1="0" v2="1" v3="2"`), item, Syntax},
		"missing corner":       {``, triangle(`<vertex x="1" y="2" z="0"/>`, `v1="0" v2="1"`), item, Syntax},
		"not a number":         {``, triangle(`<vertex x="NaN" y="2" z="0"/>`, `v1="0" v2="1" v3="2"`), item, NonFinite},
		"infinite":             {``, triangle(`<vertex x="INF" y="2" z="0"/>`, `v1="0" v2="1" v3="2"`), item, NonFinite},
		"beyond a float":       {``, triangle(`<vertex x="1e999" y="2" z="0"/>`, `v1="0" v2="1" v3="2"`), item, OutOfRange},
		"too far out":          {`unit="meter"`, triangle(`<vertex x="20000" y="2" z="0"/>`, `v1="0" v2="1" v3="2"`), item, OutOfRange},
		"decimal comma":        {``, triangle(`<vertex x="0,5" y="2" z="0"/>`, `v1="0" v2="1" v3="2"`), item, DecimalComma},
		"index of 2^32":        {``, triangle(`<vertex x="1" y="2" z="0"/>`, `v1="0" v2="1" v3="4294967296"`), item, IndexRange},
		"holds itself":         {``, object + `<object id="2"><components><component objectid="1"/><component objectid="2"/></components></object>`, `<item objectid="2"/>`, Cycle},
		"missing component":    {``, `<object id="2"><components><component objectid="7"/></components></object>`, `<item objectid="2"/>`, IndexRange},
		"eleven numbers":       {``, object, `<item objectid="1" transform="1 0 0 0 1 0 0 0 1 0 0"/>`, Syntax},
		"unknown unit":         {`unit="cubit"`, object, item, Unit},
		"material out of list": {``, `<basematerials id="5"><base name="gel"/></basematerials><object id="1" pid="5" pindex="1">` + boxXML() + `</object>`, item, IndexRange},
		"unknown extension":    {`xmlns:b="urn:made-up" requiredextensions="b"`, object, item, Unsupported},
		"undeclared extension": {`requiredextensions="b"`, object, item, Unsupported},
		"ill-formed":           {``, `<object></mesh>`, item, Syntax},
		"hexadecimal":          {``, triangle(`<vertex x="0x1p2" y="2" z="0"/>`, `v1="0" v2="1" v3="2"`), item, Syntax},
		"underscore":           {``, triangle(`<vertex x="1_0" y="2" z="0"/>`, `v1="0" v2="1" v3="2"`), item, Syntax},
		"unused not a number":  {``, triangle(`<vertex x="1" y="2" z="0"/><vertex x="NaN" y="2" z="0"/>`, `v1="0" v2="2" v3="3"`), item, NonFinite},
		"infinite transform":   {``, object, `<item objectid="1" transform="1 0 0 0 1 0 0 0 1 INF 0 0"/>`, NonFinite},
		"two meshes":           {``, `<object id="1">` + boxXML() + boxXML() + `</object>`, item, Syntax},
		"mesh and components":  {``, object + `<object id="2">` + boxXML() + `<components><component objectid="1"/></components></object>`, `<item objectid="2"/>`, Syntax},
		"another shape": {
			``, object + `<object id="2"><b:sphere xmlns:b="urn:made-up" radius="1"/></object>`,
			item + `<item objectid="2"/>`, Unsupported,
		},
		"one id for two":       {``, `<basematerials id="1"><base name="a"/></basematerials>` + object, item, Syntax},
		"two groups of one id": {``, strings.Repeat(`<basematerials id="5"><base name="a"/></basematerials>`, 2) + object, item, Syntax},
		"nameless material":    {``, `<basematerials id="5"><base/></basematerials>` + object, item, Syntax},
		"deep":                 {``, strings.Repeat("<a>", 200), ``, TooLarge},
		"long attribute":       {`name="` + strings.Repeat("a", 100_000) + `"`, object, item, TooLarge},
		"missing file": {
			`xmlns:p="` + productionSpace + `" requiredextensions="p"`, object,
			`<item objectid="1" p:path="/3D/other.model"/>`, IndexRange,
		},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := readModel(t, c.attributes, c.resources, c.build)
			var f *Fault
			require.ErrorAs(t, err, &f)
			assert.Equal(t, c.code, f.Code, f.Says)
		})
	}
}

// TestEmptyFanOutIsQuick: ten copies of ten copies, thirty deep, of an object without a
// triangle; and a long chain of objects, used many times.
func TestEmptyFanOutIsQuick(t *testing.T) {
	var b strings.Builder
	b.WriteString(`<object id="1"/>`)
	for i := 2; i < 32; i++ {
		fmt.Fprintf(&b, `<object id="%d"><components>%s</components></object>`, i, strings.Repeat(fmt.Sprintf(`<component objectid="%d"/>`, i-1), 10))
	}
	_, err := readModel(t, ``, b.String(), `<item objectid="31"/>`)
	assert.ErrorContains(t, err, "no triangle")
	b.Reset()
	b.WriteString(`<object id="1">` + boxXML() + `</object>`)
	for i := 2; i < 900; i++ {
		fmt.Fprintf(&b, `<object id="%d"><components><component objectid="%d"/></components></object>`, i, i-1)
	}
	_, err = readModel(t, ``, b.String(), strings.Repeat(`<item objectid="899"/>`, 3000))
	assert.ErrorContains(t, err, "copies of parts")
	_, err = readModel(t, ``, b.String()+`<object id="2000"/>`, `<item objectid="899"/>`)
	assert.NoError(t, err)
}

// TestZonesOf3MF: the material of the triangle before that of the object, and colours by
// their code (3MF core and materials specifications).
func TestZonesOf3MF(t *testing.T) {
	resources := `<basematerials id="5"><base name="shell"/><base name="rim"/></basematerials>` +
		`<m:colorgroup id="6" xmlns:m="` + materialSpace + `"><m:color color="#AABBCC"/></m:colorgroup>` + //nolint:misspell // the word of 3MF
		`<object id="1" pid="5" pindex="0"><mesh><vertices><vertex x="0" y="0" z="0"/><vertex x="1" y="0" z="0"/><vertex x="0" y="1" z="0"/></vertices>` +
		`<triangles><triangle v1="0" v2="1" v3="2"/><triangle v1="0" v2="1" v3="2" pid="5" p1="1"/><triangle v1="0" v2="1" v3="2" p1="1"/>` +
		`<triangle v1="0" v2="1" v3="2" pid="6" p1="0"/><triangle v1="0" v2="1" v3="2" pid="99" p1="3"/>` +
		`<triangle v1="0" v2="1" v3="2" pid="6"/></triangles></mesh></object>`
	got, err := readModel(t, ``, resources, `<item objectid="1"/>`)
	require.NoError(t, err)
	assert.Equal(t, []mesh.Run{
		{Zone: "shell", First: 0},
		{Zone: "rim", First: 1},
		{Zone: "#AABBCC", First: 3},
		{Zone: "", First: 4},
		{Zone: "shell", First: 5}, // no p1: "the default object property is assigned" (core specification, 4.1.4.1)
	}, got.Mesh.Runs)
}

// TestWarningsOf3MF: taken, but with a word; the fine print of the core specification.
func TestWarningsOf3MF(t *testing.T) {
	lattice := strings.Replace(boxXML(), "</mesh>", `<b:beamlattice xmlns:b="http://schemas.microsoft.com/3dmanufacturing/beamlattice/2017/02"/></mesh>`, 1)
	got, err := readModel(t, ``, `<object id="1">`+lattice+`</object><object id="2" type="other">`+boxXML()+`</object>`,
		`<item objectid="1"/><item objectid="2"/>`)
	require.NoError(t, err)
	assert.Equal(t, 12, got.Triangles)
	assert.Equal(t, []string{PartsSkipped, PartsSkipped}, codes(got.Warnings))
}

// TestProductionPaths: objects in files of their own (3MF production extension).
func TestProductionPaths(t *testing.T) {
	root := modelXML(`unit="meter" xmlns:p="`+productionSpace+`" requiredextensions="p"`,
		`<object id="1"><components><component objectid="1" p:path="/3D/Objects/box.model"/></components></object>`,
		`<item objectid="1"/><item objectid="1" p:path="/3D/Objects/box.model" transform="1 0 0 0 1 0 0 0 1 5 0 0"/>`)
	box := func(unit string) string { return modelXML(unit, `<object id="1">`+boxXML()+`</object>`, ``) }
	pack := func(unit string) []byte {
		return zipOf(t, "_rels/.rels", fmt.Sprintf(relsXML, "3D/start.model"), "3D/start.model", root, "3D/Objects/box.model", box(unit))
	}
	got, err := Read(pack(`unit="meter"`), Options{Name: "a.3mf"})
	require.NoError(t, err)
	assert.InEpsilon(t, 12, signed(summed(got.Mesh)), 1e-12)
	_, err = Read(pack(`unit="inch"`), Options{Name: "a.3mf"})
	assert.ErrorContains(t, err, "units")
}

// TestPackageFaults: zips that hold no model, or half of one.
func TestPackageFaults(t *testing.T) {
	model := modelXML(``, `<object id="1">`+boxXML()+`</object>`, `<item objectid="1"/>`)
	sound := package3MF(t, model)
	locked := bytes.Clone(sound)
	locked[bytes.LastIndex(locked, []byte("PK\x01\x02"))+8] |= 1 // general purpose flag of the central record, bit 0 (APPNOTE 4.4.4)
	damaged := bytes.Clone(sound)
	damaged[bytes.Index(damaged, []byte(rootModel))+30] ^= 0xff
	for name, c := range map[string]struct {
		data []byte
		code []string
	}{
		"cut off":      {sound[:len(sound)-40], []string{Truncated}},
		"damaged":      {damaged, []string{Syntax, Truncated}},
		"no model":     {zipOf(t, "readme.txt", "no"), []string{NotAMesh}},
		"not a zip":    {[]byte(strings.Repeat("hello ", 20)), []string{NotAMesh}},
		"another root": {package3MF(t, `<svg/>`), []string{NotAMesh}},
		"half a model": {package3MF(t, `<model xmlns="`+coreSpace+`"><resources>`), []string{Truncated}},
		"empty model":  {package3MF(t, ``), []string{Truncated}},
		"encrypted":    {locked, []string{Unsupported}},
		"twice":        {zipOf(t, rootModel, model, "3d/3DMODEL.model", model), []string{Syntax}},
		"two starts":   {zipOf(t, "_rels/.rels", relationsXML("/a.model", "/b.model"), "a.model", model, "b.model", model), []string{Syntax}},
		"elsewhere":    {zipOf(t, "_rels/.rels", strings.Replace(relationsXML("http://example.com/a.model"), "Id=", `TargetMode="External" Id=`, 1)), []string{ExternalFile}},
		"DTD":          {package3MF(t, `<!DOCTYPE model [<!ATTLIST model unit CDATA "meter">]>`+model), []string{Syntax}},
		"UTF-16":       {package3MF(t, `<?xml version="1.0" encoding="UTF-16"?>`+model), []string{Syntax}},
		"4097 files":   {zipOf(t, crowd(mostZipped)...), []string{TooLarge}},
	} {
		_, err := Read(c.data, Options{Name: "a.3mf"})
		var f *Fault
		require.ErrorAs(t, err, &f, name)
		assert.Contains(t, c.code, f.Code, name+": "+f.Says)
	}
	_, err := Read(sound, Options{Name: "a.3mf", MostTriangles: 11})
	assert.ErrorContains(t, err, "allowed are 11")
	_, err = Read(zipOf(t, "3D/3DModel.model", modelXML(``, `<object id="1">`+boxXML()+`</object>`, `<item objectid="1"/>`)), Options{Name: "a.3mf"})
	assert.NoError(t, err, "without relationships, in other letters")
	_, err = Read(zipOf(t, "_rels/.rels", relationsXML("/3D/my.model", "3D/MY.model"), "3D/my.model", model, "3D/3dmodel.model", "no", "3D/", ""), Options{Name: "a.3mf"})
	assert.NoError(t, err, "one start, told twice")
}

// relationsXML are the relationships of a package that begins with each of the targets.
func relationsXML(targets ...string) string {
	var b strings.Builder
	for _, target := range targets {
		text := strings.Replace(fmt.Sprintf(relsXML, ""), `Target="/"`, `Target="`+target+`"`, 1)
		b.WriteString(text[strings.Index(text, "<Relationship ") : len(text)-len("</Relationships>")])
	}
	return `<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">` + b.String() + `</Relationships>`
}

// crowd is a model and so many empty files.
func crowd(n int) []string {
	files := []string{rootModel, modelXML(``, `<object id="1">`+boxXML()+`</object>`, `<item objectid="1"/>`)}
	for i := range n {
		files = append(files, fmt.Sprintf("%x", i), "")
	}
	return files
}

// TestManyPartsOf3MF: as many files, and as many models that each hold a part, as may be.
func TestManyPartsOf3MF(t *testing.T) {
	got, err := boundedRead(t, zipOf(t, crowd(mostZipped-1)...))
	require.NoError(t, err)
	assert.Equal(t, 12, got.Triangles)
	var items strings.Builder
	files := []string{rootModel, ""}
	for i := range mostModels - 1 {
		name := strings.Repeat("a", 60) + fmt.Sprint(i)
		fmt.Fprintf(&items, `<item objectid="1" p:path="/%s"/>`, name)
		files = append(files, name, modelXML(``, `<object id="1">`+boxXML()+`</object>`, ``))
	}
	files[1] = modelXML(`xmlns:p="`+productionSpace+`" requiredextensions="p"`, ``, items.String())
	got, err = boundedRead(t, zipOf(t, files...))
	require.NoError(t, err)
	assert.Equal(t, 12*(mostModels-1), got.Triangles)
	assert.Len(t, got.Mesh.Vertices, 8)
}

// TestCopiesOf3MF: a great many copies of a small part are made without asking for more
// than the triangles take; and a great many empty ones that each copy looks at are refused.
func TestCopiesOf3MF(t *testing.T) {
	var b strings.Builder
	b.WriteString(`<object id="1">` + boxXML() + `</object><object id="2"/>`)
	for i := range 8 {
		fmt.Fprintf(&b, `<object id="%d"><components>%s</components></object>`, i+10, strings.Repeat(fmt.Sprintf(`<component objectid="%d"/>`, max(1, (i+9)*min(i, 1))), 2))
	}
	got, err := boundedRead(t, package3MF(t, modelXML(``, b.String(), `<item objectid="17"/>`)))
	require.NoError(t, err)
	assert.Equal(t, 12*256, got.Triangles)
	b.WriteString(`<object id="5"><components><component objectid="1"/>` + strings.Repeat(`<component objectid="2"/>`, 2000) + `</components></object>`)
	_, err = boundedRead(t, package3MF(t, modelXML(``, b.String(), strings.Repeat(`<item objectid="5"/>`, 2000))))
	var f *Fault
	require.ErrorAs(t, err, &f)
	assert.Equal(t, TooLarge, f.Code, f.Says)
}

// TestTablesOf3MF: what the tables of a model take is what is counted for them, and with
// as many rows as may be no more than four times the text and a mebibyte.
func TestTablesOf3MF(t *testing.T) {
	var groups, objects, colours strings.Builder
	for i := range 100_000 {
		fmt.Fprintf(&groups, `<basematerials id="%d"/>`, i+2)
		fmt.Fprintf(&colours, `<m:color color="%x"/>`, i) //nolint:misspell // the word of 3MF
		if i < 5000 {
			fmt.Fprintf(&objects, `<object id="%d"/>`, i+2)
		}
	}
	for name, model := range map[string]string{
		"a mesh":     modelXML(``, `<object id="1">`+meshXML(meshtest.Icosphere(0.5, 6), 1e-3)+`</object>`, ``),
		"materials":  modelXML(``, `<m:colorgroup xmlns:m="`+materialSpace+`" id="2">`+colours.String()+`</m:colorgroup>`, ``),
		"groups":     modelXML(``, groups.String(), ``),
		"objects":    modelXML(``, objects.String(), ``),
		"placements": modelXML(``, `<object id="2"/>`, strings.Repeat(`<item objectid="2" transform="1 0 0 0 1 0 0 0 1 0 0 0"/>`, 9000)),
	} {
		c, err := openContainer(stored3MF(t, model))
		require.NoError(t, err, name)
		before := heldBytes()
		m, err := c.models()
		require.NoError(t, err, name)
		count := m.census()
		took := heldBytes() - before
		t.Logf("%s: %d bytes of text, %d held, %d counted", name, len(model), took, m.held())
		assert.LessOrEqual(t, float64(took), 1.1*float64(m.held())+65_536, name)
		assert.LessOrEqual(t, took, uint64(4*len(model)+1<<20), name)
		runtime.KeepAlive(c)
		runtime.KeepAlive(count)
	}
}

// stored3MF packs a model as it is: deflated, some would pass the bound of inflating.
func stored3MF(t testing.TB, model string) []byte {
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	w, err := z.CreateHeader(&zip.FileHeader{Name: rootModel, Method: zip.Store})
	require.NoError(t, err)
	_, err = w.Write([]byte(model))
	require.NoError(t, err)
	require.NoError(t, z.Close())
	return b.Bytes()
}

// heldBytes is what is in use of the heap, as a collection finds it.
func heldBytes() uint64 {
	runtime.GC()
	live := []metrics.Sample{{Name: "/gc/heap/live:bytes"}}
	metrics.Read(live)
	return live[0].Value.Uint64()
}

// TestLiveMemoryOf3MF: what is held while a big model is read stays below four times the
// zip and what it inflates to.
func TestLiveMemoryOf3MF(t *testing.T) {
	xml := modelXML(``, `<object id="1">`+meshXML(meshtest.Icosphere(0.5, 7), 1e-3)+`</object>`, `<item objectid="1"/>`)
	data := package3MF(t, xml)
	allowed := 4*uint64(len(data)+len(xml)) + 1<<20
	peak, stop, done := uint64(0), make(chan struct{}), make(chan struct{})
	var before runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	go func() {
		defer close(done)
		for {
			select {
			case <-stop:
				return
			case <-time.After(30 * time.Millisecond):
				var now runtime.MemStats
				runtime.GC()
				runtime.ReadMemStats(&now)
				peak = max(peak, now.HeapAlloc-min(now.HeapAlloc, before.HeapAlloc))
			}
		}
	}()
	got, err := Read(data, Options{Name: "a.3mf"})
	close(stop)
	<-done
	require.NoError(t, err)
	t.Logf("%d triangles, zip %d, inflated %d, peak %d, allowed %d", got.Triangles, len(data), len(xml), peak, allowed)
	assert.Less(t, peak, allowed)
}

// drawnMesh draws a mesh whose corners are all used and all in different places, on a
// grid of float32.
func drawnMesh(rt *rapid.T) *mesh.Mesh {
	b := mesh.NewBuilder(8)
	zones := rapid.Bool().Draw(rt, "zones")
	for i := range rapid.IntRange(1, 40).Draw(rt, "faces") {
		if zones {
			b.Zone(fmt.Sprintf("zone %d", i/7))
		}
		var tri mesh.Triangle
		for c := range tri {
			for axis := range 3 {
				tri[c][axis] = float64(rapid.Float32Range(-100, 100).Draw(rt, "v"))
			}
		}
		b.Triangle(tri)
	}
	return b.Mesh()
}

// write3MF writes a mesh in metres with its zones as base materials.
func write3MF(t testing.TB, m *mesh.Mesh) []byte {
	names := make([]string, 0, len(m.Runs))
	for _, r := range m.Runs {
		names = append(names, `<base name="`+r.Zone+`"/>`)
	}
	text, run := meshXML(m, 1), -1
	for f := range m.Faces {
		for run+1 < len(m.Runs) && m.Runs[run+1].First <= f {
			run++
		}
		if run >= 0 {
			old := fmt.Sprintf(`v3="%d"/>`, m.Faces[f][2])
			text = strings.Replace(text, old, fmt.Sprintf(`v3="%d" pid="9" p1="%d"/ >`, m.Faces[f][2], run), 1)
		}
	}
	text = strings.ReplaceAll(text, "/ >", "/>")
	return package3MF(t, modelXML(`unit="meter"`, `<basematerials id="9">`+strings.Join(names, "")+`</basematerials><object id="1">`+text+`</object>`, `<item objectid="1"/>`))
}

// TestRoundTrip3MF: what is written is what is read.
func TestRoundTrip3MF(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		m := drawnMesh(rt)
		got, err := Read(write3MF(t, m), Options{Name: "a.3mf"})
		require.NoError(rt, err)
		require.Equal(rt, m, got.Mesh)
	})
}

// TestMovedAssemblyKeepsItsVolume: any rotation, mirror or scale of a part scales its
// volume by the size of the determinant, and never turns it inside out.
func TestMovedAssemblyKeepsItsVolume(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var at placement
		text := ""
		for i := range 12 {
			v := rapid.Float64Range(-3, 3).Draw(rt, "m")
			at[i/3][i%3] = v
			text += fmt.Sprintf("%v ", v)
		}
		det := math.Abs(at.determinant())
		if det < 1e-3 {
			return
		}
		got, err := readModel(t, `unit="meter"`, `<object id="1">`+boxXML()+`</object>`, `<item objectid="1" transform="`+text+`"/>`)
		require.NoError(rt, err)
		require.InEpsilon(rt, 6*det, signed(summed(got.Mesh)), 1e-9)
	})
}

// soundOrFault checks what every reading of any bytes must keep.
func soundOrFault(t *testing.T, f *File, err error) {
	if err != nil {
		var fault *Fault
		require.ErrorAs(t, err, &fault)
		require.NotEmpty(t, fault.Code)
		return
	}
	require.NotEmpty(t, f.Mesh.Faces)
	for _, p := range f.Mesh.Vertices {
		for _, v := range p {
			require.LessOrEqual(t, math.Abs(v), float64(MostReach))
		}
	}
	for _, face := range f.Mesh.Faces {
		for _, v := range face {
			require.Less(t, int(v), len(f.Mesh.Vertices))
		}
	}
}

// inflated is how many bytes the reader inflates of a package before it has a model or
// stops. It must keep to the bounds: a hundred times the zip, or a mebibyte where that is
// more, and no more beyond than was asked for at once.
func inflated(t testing.TB, data []byte) int64 {
	c, err := openContainer(data)
	if err != nil {
		return 0
	}
	_, _ = c.models()
	most := min(mostInflated, max(freeInflated, inflateRatio*int64(len(data))))
	require.LessOrEqual(t, c.inflated, most+longestToken)
	return c.inflated
}

// askedOf3MF is the most that may be asked for to read a package, what is let go at once
// included: four times the zip and a mebibyte, as of every file, and 64 bytes for each byte
// inflated, since encoding/xml makes some 200 bytes for a tag of four (measured; no other
// source). What is held at one time is four times the zip and the inflated text, and a
// mebibyte: TestLiveMemoryOf3MF.
func askedOf3MF(t testing.TB, data []byte) uint64 {
	return uint64(4*int64(len(data)) + 64*inflated(t, data) + 1<<20)
}

// boundedRead reads a package and checks what it asks for.
func boundedRead(t testing.TB, data []byte) (*File, error) {
	most := askedOf3MF(t, data)
	got, taken, err := allocated(data, Options{Name: "a.3mf"})
	require.LessOrEqual(t, taken, most)
	return got, err
}

// Fuzz3MF reads the bytes as a zip, and as the model in a sound one.
func Fuzz3MF(f *testing.F) {
	files, _ := filepath.Glob(badSet + "*.3mf")
	for _, name := range append(files, publicSet+"p20_vase.3mf") {
		if data, err := os.ReadFile(name); err == nil && len(data) < 8000 {
			f.Add(data, false)
		}
	}
	f.Add([]byte(modelXML(`unit="inch"`, `<basematerials id="5"><base name="a"/></basematerials><object id="1" pid="5" pindex="0">`+boxXML()+
		`</object><object id="2"><components><component objectid="1" transform="-1 0 0 0 1 0 0 0 1 1 0 0"/></components></object>`,
		`<item objectid="2"/>`)), true)
	f.Add([]byte(modelXML(`xmlns:p="`+productionSpace+`" xmlns:m="`+materialSpace+`" requiredextensions="p m"`,
		`<m:colorgroup id="6"><m:color color="#AABBCC"/></m:colorgroup><object id="1" type="support"><components>`+ //nolint:misspell // the word of 3MF
			`<component objectid="1" p:path="/3D/3dmodel.model"/><component objectid="2"/></components></object>`+
			`<object id="2" type="other">`+boxXML()+`</object>`, `<item objectid="1" transform="1 0 0 0 1 0 0 0 1 .5 1e2 -3"/>`)), true)
	f.Fuzz(func(t *testing.T, data []byte, inside bool) {
		if inside {
			data = package3MF(t, string(data))
		}
		file, err := boundedRead(t, data)
		soundOrFault(t, file, err)
	})
}
