package main

// fileTypes are the content types of a mesh file that is a request's body; a test of the server holds that it takes just these.
func fileTypes() []string {
	return []string{
		"application/octet-stream", "application/x-ply", "model/3mf", "model/gltf+json", "model/gltf-binary", "model/obj", "model/stl",
	}
}

// addFileBodies says what the generator cannot: a mesh may also come as the file itself, with its reading in the query.
func addFileBodies(doc object) {
	post := member(doc, "paths", "/v1/meshes", "post")
	content := member(post, "requestBody", "content")
	for _, media := range fileTypes() {
		content[media] = object{"schema": object{"type": "string", "format": "binary", "description": "The file as it is."}}
	}
	text := func(most int) object { return object{"type": "string", "maxLength": most} }
	post["parameters"] = []any{
		inQuery("fileName", "Name of the file; it settles the format where neither the content nor its type can.", text(255)),
		inQuery("meshId", "Name to keep the mesh under; left out, one made from its content.", object{"type": "string", "pattern": "^([a-z0-9]([a-z0-9-]{0,58}[a-z0-9])?)?$"}),
		inQuery("title", "What it is called.", text(200)),
		inQuery("unit", "What one unit of the file is; required for STL, OBJ and PLY.", object{"type": "string", "enum": []any{"mm", "cm", "m", "in", "ft"}}),
		inQuery("up", "Which axis points up.", object{"type": "string", "enum": []any{"x", "y", "z"}}),
	}
}

func inQuery(name, says string, schema object) object {
	return object{
		"name": name, "in": "query", "schema": schema,
		"description": says + " Only where the body is the file itself; JSON has it under reading.",
	}
}
