package wire

import (
	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/maquette"
	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/release"
	"github.com/mouldwright/mouldwright/internal/shelf"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// lengthUnitIn is 0 where none is said.
func lengthUnitIn(u mouldwrightv1.LengthUnit) float64 {
	if n, units := int(u), shelf.Units(); n >= 1 && n <= len(units) {
		return units[n-1].Metres
	}
	return 0
}

// MeshReading translates how a mesh file is to be read.
func MeshReading(pb *mouldwrightv1.MeshReading) shelf.Reading {
	return shelf.Reading{
		ID: pb.GetMeshId(), Title: pb.GetTitle(), FileName: pb.GetFileName(),
		Unit: lengthUnitIn(pb.GetUnit()), Up: shelf.Up(pb.GetUp()),
	}
}

// Mesh returns a mesh that is kept; with its takeoff where one is given.
func Mesh(i *shelf.Item, takeoff *mouldwrightv1.MeshTakeoff) *mouldwrightv1.Mesh {
	return &mouldwrightv1.Mesh{
		Name: i.Name, Sha256: i.FileSum, ByteCount: int32(i.Size), Format: string(i.Format), //nolint:gosec // bounded by the doors
		Reading: readingOut(i.Reading), Takeoff: takeoff,
	}
}

func readingOut(r shelf.Reading) *mouldwrightv1.MeshReading {
	return &mouldwrightv1.MeshReading{
		MeshId: r.ID, Title: r.Title, FileName: r.FileName, Unit: lengthUnitOut(r.Unit), Up: mouldwrightv1.UpAxis(r.Up),
	}
}

// EncodeReading writes how a mesh file is to be read, as it was asked, the way it is kept: our
// stable JSON. Of units it knows those that may be asked for.
func EncodeReading(r shelf.Reading) ([]byte, error) { return Encode(readingOut(r)) }

// DecodeReading reads how a mesh file is to be read, as it is kept.
func DecodeReading(doc []byte) (shelf.Reading, error) {
	pb := &mouldwrightv1.MeshReading{}
	err := Decode(doc, pb).Err()
	return MeshReading(pb), err
}

// lengthUnitOut is unspecified for a unit of the file's own that the contract has no
// name for, such as the micrometre.
func lengthUnitOut(metres float64) mouldwrightv1.LengthUnit {
	for i, u := range shelf.Units() {
		if u.Metres == metres {
			return mouldwrightv1.LengthUnit(i + 1) //nolint:gosec // a handful
		}
	}
	return mouldwrightv1.LengthUnit_LENGTH_UNIT_UNSPECIFIED
}

// Directions translates pulls.
func Directions(pbs []*mouldwrightv1.Direction) []release.Direction {
	var pulls []release.Direction
	for _, d := range pbs {
		pulls = append(pulls, release.Direction{d.GetXRatio(), d.GetYRatio(), d.GetZRatio()})
	}
	return pulls
}

func directionOut(d release.Direction) *mouldwrightv1.Direction {
	return &mouldwrightv1.Direction{XRatio: unit.Steady(d[0]), YRatio: unit.Steady(d[1]), ZRatio: unit.Steady(d[2])}
}

// MeshTakeoff returns the measures of a mesh at a scale.
func MeshTakeoff(s *maquette.Sheet) *mouldwrightv1.MeshTakeoff {
	pb := &mouldwrightv1.MeshTakeoff{
		Scale: s.Scale, TriangleCount: int32(s.Triangles), ComponentCount: int32(s.Components), Enclosed: s.Enclosed.String(), //nolint:gosec // bounded by shelf.MostTriangles
		SurfaceM2: unit.Steady(s.Surface), SurfaceBasis: s.SurfaceBasis(), WholeSurfaceM2: unit.Steady(s.Whole), RimM: unit.Steady(s.Rim),
		VolumeM3: unit.Steady(s.Volume), VolumeBasis: s.VolumeBasis(),
		Size: sizeOut(s.Size), TurnedSize: sizeOut(s.Turned), SmallestSize: sizeOut(s.Smallest),
		FoamLayers: layersOut(s), ThinPercent: unit.Steady(100 * s.Thin), ThinLimitMm: unit.Steady(1000 * s.ThinLimit), SelfMirrored: s.Mirrored,
		Warnings: warningsOut(s.Warnings),
	}
	if s.Enclosed != mesh.Open {
		material := unit.Steady(s.Material)
		pb.MaterialVolumeM3 = &material
	}
	for _, shadow := range s.Silhouettes {
		pb.Silhouettes = append(pb.Silhouettes, &mouldwrightv1.Silhouette{View: shadow.View, AreaM2: unit.Steady(shadow.Area)})
	}
	meshZones(pb, s)
	for i := range s.Splits {
		pb.MouldSplits = append(pb.MouldSplits, splitOut(&s.Splits[i]))
	}
	return pb
}

func layersOut(s *maquette.Sheet) *mouldwrightv1.FoamLayers {
	pb := &mouldwrightv1.FoamLayers{ThicknessMm: unit.Steady(1000 * s.LayerThickness), VolumeM3: unit.Steady(s.LayersTotal)}
	for _, l := range s.Layers {
		pb.Layers = append(pb.Layers, sizeOut(geometry.Extent(l)))
	}
	return pb
}

func meshZones(pb *mouldwrightv1.MeshTakeoff, s *maquette.Sheet) {
	for _, z := range s.Zones {
		pb.Zones = append(pb.Zones, &mouldwrightv1.MeshZone{Name: z.Zone, AreaM2: unit.Steady(z.Area)})
	}
	for _, m := range s.Seams {
		pb.Seams = append(pb.Seams, &mouldwrightv1.MeshSeam{First: m.A, Second: m.B, LengthM: unit.Steady(m.Length)})
	}
}

func splitOut(s *maquette.Split) *mouldwrightv1.MouldSplit {
	pb := &mouldwrightv1.MouldSplit{
		DraftDeg: s.Draft, PieceCount: int32(s.Pieces), LockedM2: unit.Steady(s.Locked), LockedPatchCount: int32(s.Patches), PartingM: unit.Steady(s.Parting), //nolint:gosec // at most 255
	}
	for _, p := range s.Pulls {
		pb.Pulls = append(pb.Pulls, &mouldwrightv1.MouldPull{
			Direction: directionOut(p.Direction), Words: maquette.PullWords(p.Direction), ReachesM2: unit.Steady(p.Reaches), AddsM2: unit.Steady(p.Adds),
		})
	}
	return pb
}

func warningsOut(warnings []mesh.Warning) []*mouldwrightv1.MeshWarning {
	var pbs []*mouldwrightv1.MeshWarning
	for _, w := range warnings {
		pbs = append(pbs, &mouldwrightv1.MeshWarning{Code: w.Code, Message: w.Says})
	}
	return pbs
}
