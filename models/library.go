package models

import (
	"fmt"
	"path/filepath"
	"runtime"
)

// The ONNX Runtime library: npm package, version, and the file of each processor with its SHA-256. It is MIT-licensed
// and needs glibc 2.28 or later and libstdc++.
const (
	libraryPackage = "onnxruntime-node"
	libraryVersion = "1.30.0"
)

type library struct{ file, sha256 string }

// libraryFor returns the library of a platform; ok is false where none is pinned.
func libraryFor(goos, goarch string) (l library, ok bool) {
	switch goos + "/" + goarch {
	case "linux/amd64":
		return library{
			"bin/napi-v6/linux/x64/libonnxruntime.so.1",
			"ffb75a925ba05e47b235bb66e3e3911714a80b328a9c9425539feb204aa32a23",
		}, true
	case "linux/arm64":
		return library{
			"bin/napi-v6/linux/arm64/libonnxruntime.so.1",
			"1f549d46250b005580b597f4164984aaf75b3bcb9f3aeb07c7f8a8fe60b23c76",
		}, true
	}
	return library{}, false
}

// here returns the library of this machine.
func here() (library, error) {
	l, ok := libraryFor(runtime.GOOS, runtime.GOARCH)
	if !ok {
		return l, &Error{
			Msg:  fmt.Sprintf("there is no ONNX Runtime for %s on %s here", runtime.GOOS, runtime.GOARCH),
			Hint: "use Linux on x86-64 or arm64",
		}
	}
	return l, nil
}

// LibraryPath is where Install puts the ONNX Runtime library. It need not exist.
func (s Store) LibraryPath() string {
	return filepath.Join(s.dir, fmt.Sprintf("libonnxruntime-%s-%s.so", libraryVersion, runtime.GOARCH))
}
