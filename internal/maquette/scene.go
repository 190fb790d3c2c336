package maquette

import (
	"fmt"

	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/picture"
)

// Scene is a picture of the piece at a scale, with the pieces of its suggested mould
// at 2 degrees of draft.
func (q *Maquette) Scene(title string, a Ask) picture.Scene {
	of := q.splitsFor(a)[1]
	split := q.atScale(&of, degrees()[1], a.Scale)
	scene := picture.Scene{
		Mesh: &mesh.Mesh{Vertices: make([]mesh.Point, len(q.skin.Vertices)), Faces: q.skin.Faces}, Labels: split.Labels, Title: title,
		Caption: fmt.Sprintf("Suggested mould with 2 degrees of draft, in pieces: %d. Not proven; look at the model.", split.Pieces),
	}
	for i, p := range q.skin.Vertices {
		scene.Mesh.Vertices[i] = mesh.Point{p[0] * a.Scale, p[1] * a.Scale, p[2] * a.Scale}
	}
	for i, p := range split.Pulls {
		scene.Pieces = append(scene.Pieces, fmt.Sprintf("piece %d, pulled %s", i+1, PullWords(p.Direction)))
	}
	return scene
}
