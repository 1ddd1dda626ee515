// Package tfjs converts a TensorFlow.js graph model (model.json and its weight shards) to ONNX.
//
// It knows the operators that image networks made of convolutions use; operators.go lists them. Every shape is worked
// out while converting, so a converted network has fixed shapes and one float32 input.
//
// Layout: the input and the outputs keep the axis order of the file. In between, a tensor carries the order of its
// axes in memory beside its shape, and a Transpose of the file only relabels them. Convolutions, pooling and resizing
// want channels before rows, so a file in NHWC order gets one Transpose near its input and one in front of each
// output, and a file that transposes around each convolution loses those pairs.
//
// Weights that the file stores in half precision stay so and are widened by a Cast, which the runtime folds when it
// loads the network: the same speed, half the file.
//
// Failure: an unknown operator, a missing weight, a cut or overlong weight file, malformed JSON and shapes that do
// not fit are errors that name the node; nothing is allocated on the word of the file beyond the limits in limits.go.
package tfjs
