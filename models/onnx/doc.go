// Package onnx holds the ONNX model format as Go types and a small builder for writing such files.
//
// The types in onnx.pb.go are generated from the published schema (ONNX 1.12, Apache-2.0) by generate.sh; everything
// else here is a thin layer that makes graphs short to write. Files are written for IR version 8 and operator set 17,
// and always to the same bytes, so that a checksum of a converted network can be stated in its manifest.
//
// Failure: the builder never fails; a wrong graph is refused by the runtime that opens it. Unmarshal returns an
// error for bytes that are no ONNX file.
package onnx
