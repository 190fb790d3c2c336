#!/usr/bin/env bash
# Regenerates api/ from proto/: Go messages, gRPC, the HTTP gateway and the OpenAPI document. The same protos give the same bytes.
# With a directory as its argument it writes DIRECTORY/api and leaves the repository's own api/ alone.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/../.."

buf() { go tool -modfile=internal/tools/buf/go.mod buf "$@"; }

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

go run ./internal/tools/protodeps .build/protodeps
buf lint
buf format -d --exit-code proto
buf build proto -o "$work/contract.binpb"
buf generate -o "$work"
go run ./internal/tools/openapi -descriptors "$work/contract.binpb" -in "$work/.build/openapi" -out "$work/api/openapi"

to=${1:-.}
mkdir -p "$to"
rm -rf "$to/api"
mv "$work/api" "$to/api"
