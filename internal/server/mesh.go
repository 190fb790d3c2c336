package server

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"strings"

	"google.golang.org/genproto/googleapis/api/httpbody"
	"google.golang.org/grpc/codes"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/cabinet"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/maquette"
	"github.com/mouldwright/mouldwright/internal/meshfile"
	"github.com/mouldwright/mouldwright/internal/picture"
	"github.com/mouldwright/mouldwright/internal/shelf"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// CreateMesh takes a mesh in, whichever way it came: as one message, as a stream,
// or as the body of a request.
func (s *takeoffService) CreateMesh(ctx context.Context, r *mouldwrightv1.CreateMeshRequest) (*mouldwrightv1.CreateMeshResponse, error) {
	item := shelf.Identify(r.GetFile(), wire.MeshReading(r.GetReading()))
	kept, err := s.meshes.Keep(ctx, callerOf(ctx).Owner(), item)
	if err != nil {
		return nil, unkept(err, item.Name, unitsAllowed(ctx, r))
	}
	if err := otherWords(kept, item.Reading); err != nil {
		return nil, err
	}
	takeoff, err := measured(kept, kept.Model.Usual(1))
	if err != nil {
		return nil, err
	}
	return &mouldwrightv1.CreateMeshResponse{Mesh: wire.Mesh(kept, takeoff)}, nil
}

// otherWords refuses a title and a file's name that differ from those that are kept under the
// name: what is kept stays as it is, and a caller who gave them would take them for kept.
func otherWords(kept *shelf.Item, given shelf.Reading) error {
	var has []string
	for _, word := range []struct{ field, kept, given string }{
		{"title", kept.Reading.Title, given.Title}, {"fileName", givenName(kept.Reading), givenName(given)},
	} {
		if word.kept != "" && word.given != "" && word.kept != word.given {
			has = append(has, fmt.Sprintf("the %s %q", word.field, word.kept))
		}
	}
	if len(has) == 0 {
		return nil
	}
	return &problem{
		code: codes.AlreadyExists, reason: reasonMeshTaken,
		message: fmt.Sprintf("this file is kept already, as %s with %s; allowed: the same, none, or another meshId", kept.Name, strings.Join(has, " and ")),
	}
}

// givenName is the file's name where its caller gave one, and the door made none up.
func givenName(r shelf.Reading) string {
	for _, ext := range meshTypes() {
		if ext != "" && r.FileName == "mesh"+ext {
			return ""
		}
	}
	return r.FileName
}

// unitsAllowed says how a caller names the unit of a file, by the door that it came
// through.
func unitsAllowed(ctx context.Context, r *mouldwrightv1.CreateMeshRequest) string {
	names := unitNames()
	switch {
	case r.GetReading().GetUnit() != mouldwrightv1.LengthUnit_LENGTH_UNIT_UNSPECIFIED:
		return "the file's own unit, or none"
	case !callFrom(ctx).query:
		for i := range names {
			names[i] = mouldwrightv1.LengthUnit(i + 1).String() //nolint:gosec // a handful
		}
	}
	return strings.Join(names, ", ")
}

// unkept tells a caller why a mesh was not taken in.
func unkept(err error, name, units string) error {
	var bad *meshfile.Fault
	var unusable *cabinet.UnusableError
	switch {
	case errors.As(err, &bad) && bad.Code == meshfile.Unit:
		return &violations{faults: fault.List{{Path: "reading.unit", Message: bad.Error() + "; allowed: " + units}}}
	case errors.As(err, &bad):
		return &problem{
			code: codes.InvalidArgument, reason: reasonMesh, message: "file: " + bad.Error(), metadata: map[string]string{"meshFault": bad.Code},
			faults: listed(fault.List{{Path: "file", Message: bad.Error()}}, map[string]string{"file": strings.ToUpper(bad.Code)}),
		}
	case errors.As(err, &unusable):
		return &violations{faults: fault.List{{Path: "file", Message: unusable.Error()}}}
	case errors.Is(err, store.ErrTaken):
		return &problem{
			code: codes.AlreadyExists, reason: reasonMeshTaken, cause: err,
			message: fmt.Sprintf("another mesh is kept under this name: %s; allowed: another meshId, or the same file read the same way", name),
		}
	case errors.Is(err, store.ErrNoRoom):
		return &problem{code: codes.ResourceExhausted, reason: reasonMeshRoom, cause: err, message: "there is no room for another mesh; delete one first"}
	default:
		return err
	}
}

// measured measures a mesh at a scale. A refusal is about the layers.
func measured(item *shelf.Item, a maquette.Ask) (*mouldwrightv1.MeshTakeoff, error) {
	sheet, err := item.Model.At(a)
	if err != nil {
		return nil, &violations{faults: fault.List{{Path: "layerMm", Message: err.Error()}}}
	}
	return wire.MeshTakeoff(&sheet), nil
}

// find returns the mesh of a name, of the partner that the request is about or the caller's
// own, or an error that says there is none. Another's that the caller may not see is none.
func (s *takeoffService) find(ctx context.Context, r forSomeone, name string) (*shelf.Item, error) {
	item, err := s.meshes.Find(ctx, ownerOf(ctx, r), name, callerOf(ctx).Eyes())
	if errors.Is(err, store.ErrNotFound) {
		return nil, noMesh(name, "upload it first")
	}
	return item, err
}

func noMesh(name, instead string) *problem {
	return &problem{code: codes.NotFound, reason: reasonNoMesh, message: fmt.Sprintf("got %q, which is no mesh here; %s", name, instead)}
}

// GetMesh shows one mesh with its measures at its own size.
func (s *takeoffService) GetMesh(ctx context.Context, r *mouldwrightv1.GetMeshRequest) (*mouldwrightv1.GetMeshResponse, error) {
	item, err := s.find(ctx, r, r.GetName())
	if err != nil {
		return nil, err
	}
	takeoff, err := measured(item, item.Model.Usual(1))
	if err != nil {
		return nil, err
	}
	return &mouldwrightv1.GetMeshResponse{Mesh: wire.Mesh(item, takeoff)}, nil
}

// ListMeshes lists the meshes by name, a page at a time.
func (s *takeoffService) ListMeshes(ctx context.Context, r *mouldwrightv1.ListMeshesRequest) (*mouldwrightv1.ListMeshesResponse, error) {
	after, err := tokenText(r.GetPageToken())
	if err != nil {
		return nil, err
	}
	if after != "" && !shelf.IsName(after) {
		return nil, strangeToken(r.GetPageToken())
	}
	owner, eyes := ownerOf(ctx, r), callerOf(ctx).Eyes()
	if !eyes.Sees(owner) {
		return nil, noPartner(r.GetPartner()) // whether there is such a partner is nobody else's business
	}
	items, more, err := s.meshes.List(ctx, owner, after, pageSize(r.GetPageSize()), eyes)
	if err != nil {
		return nil, err
	}
	answer := &mouldwrightv1.ListMeshesResponse{}
	for _, item := range items {
		answer.Meshes = append(answer.Meshes, wire.Mesh(item, nil))
	}
	if more {
		answer.NextPageToken = pageToken(items[len(items)-1].Name)
	}
	return answer, nil
}

// DeleteMesh forgets a mesh.
func (s *takeoffService) DeleteMesh(ctx context.Context, r *mouldwrightv1.DeleteMeshRequest) (*mouldwrightv1.DeleteMeshResponse, error) {
	err := s.meshes.Drop(ctx, ownerOf(ctx, r), r.GetName(), callerOf(ctx).Eyes())
	if errors.Is(err, store.ErrNotFound) {
		return nil, noMesh(r.GetName(), "allowed: the name of one that is kept")
	}
	return &mouldwrightv1.DeleteMeshResponse{}, err
}

// MeasureMesh measures a mesh at a scale.
func (s *takeoffService) MeasureMesh(ctx context.Context, r *mouldwrightv1.MeasureMeshRequest) (*mouldwrightv1.MeasureMeshResponse, error) {
	item, err := s.find(ctx, r, r.GetName())
	if err != nil {
		return nil, err
	}
	pulls := wire.Directions(r.GetPulls())
	if faults := maquette.PullFaults(pulls); len(faults) > 0 {
		return nil, &violations{faults: faults}
	}
	ask := item.Model.Usual(scaleOr1(r.Scale))
	ask.Pulls = pulls
	if r.LayerMm != nil {
		ask.Layer = r.GetLayerMm() / 1000
	}
	if r.ThinLimitMm != nil {
		ask.ThinLimit = r.GetThinLimitMm() / 1000
	}
	takeoff, err := measured(item, ask)
	if err != nil {
		return nil, err
	}
	return &mouldwrightv1.MeasureMeshResponse{Takeoff: takeoff}, nil
}

// CompareMeshes tells whether two meshes are the same form, or its two hands.
func (s *takeoffService) CompareMeshes(ctx context.Context, r *mouldwrightv1.CompareMeshesRequest) (*mouldwrightv1.CompareMeshesResponse, error) {
	one, err := s.find(ctx, r, r.GetName())
	if err != nil {
		return nil, err
	}
	other, err := s.find(ctx, r, r.GetOther())
	if err != nil {
		return nil, err
	}
	hand := maquette.Compare(one.Model, other.Model)
	return &mouldwrightv1.CompareMeshesResponse{Same: hand.Same, Mirrored: hand.Mirrored, Words: hand.String()}, nil
}

// GetMeshPicture draws a mesh from three sides.
func (s *takeoffService) GetMeshPicture(ctx context.Context, r *mouldwrightv1.GetMeshPictureRequest) (*httpbody.HttpBody, error) {
	item, err := s.find(ctx, r, r.GetName())
	if err != nil {
		return nil, err
	}
	scale := scaleOr1(r.Scale)
	scene := item.Model.Scene(cmp.Or(item.Reading.Title, item.Name), maquette.Ask{Scale: scale})
	var out bytes.Buffer
	draw, kind := picture.PNG, "image/png"
	if r.GetFormat() == mouldwrightv1.PictureFormat_PICTURE_FORMAT_SVG {
		draw, kind = picture.SVG, "image/svg+xml"
	}
	if err := draw(&out, scene, picture.Options{Width: int(r.GetWidthPx())}); err != nil {
		return nil, &violations{faults: fault.List{{Path: "scale", Message: fmt.Sprintf("got %g: %v", scale, err)}}}
	}
	return &httpbody.HttpBody{ContentType: kind, Data: out.Bytes()}, nil
}

func scaleOr1(scale *float64) float64 {
	if scale == nil {
		return 1
	}
	return *scale
}
