// Package tflite reads TensorFlow Lite files and rewrites them as ONNX graphs.
//
// Input: the bytes of a .tflite file, schema version 3, one subgraph, buffers inline (the published schema.fbs of
// TensorFlow, Apache-2.0; field numbers below are its). Output: a graph for operator set 17 whose inputs and outputs
// keep their TFLite names and shapes. Pictures stay in NHWC order at the rim; inside, everything is NCHW because the
// ONNX operators are defined so, hence one Transpose behind each input and one before each output of four dimensions.
//
// Weights that are stored as float16 stay float16 in the file and are cast inside the graph, which halves the file and
// costs nothing later: the runtime folds the casts when it opens it.
//
// Failure: a file that is cut or whose offsets point outside gives an error that wraps ErrFormat, an operator or option
// that is not known here one that wraps ErrUnsupported. Nothing panics on any bytes: every read is checked.
package tflite
