#!/bin/sh
# Rewrites onnx.pb.go from the ONNX schema that Debian's libonnx-dev installs (ONNX 1.12, proto2, Apache-2.0).
# Needs: apt install protobuf-compiler libonnx-dev. The generator is taken by its module version, the same as
# the protobuf runtime in go.mod, so that two runs give the same file.
set -eu
cd "$(dirname "$0")"
schema=${ONNX_PROTO_DIR:-/usr/include/onnx}
version=$(go list -m -f '{{.Version}}' google.golang.org/protobuf)
bin=$(mktemp -d)
trap 'rm -rf "$bin"' EXIT
GOBIN="$bin" go install "google.golang.org/protobuf/cmd/protoc-gen-go@$version"
PATH="$bin:$PATH" protoc -I "$schema" --go_out=. --go_opt=paths=source_relative \
	--go_opt=Monnx.proto=plantframe/models/onnx onnx.proto
