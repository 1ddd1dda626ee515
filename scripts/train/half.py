"""Stores the weights of an ONNX file in half precision, turned back when it is loaded, and prints what that changes.

    python3 half.py IN.onnx OUT.onnx
"""
import sys
import numpy as np
import onnx
import onnxruntime as ort
from onnx import TensorProto, helper, numpy_helper

m = onnx.load(sys.argv[1]); x = np.random.default_rng(1).random((1, 3, 256, 256), np.float32)
before = ort.InferenceSession(m.SerializeToString()).run(None, {'image': x}); kept, casts = [], []
for t in m.graph.initializer:
    a = numpy_helper.to_array(t)
    if a.dtype == np.float32 and a.size >= 64 and a.ndim >= 2:
        kept.append(numpy_helper.from_array(a.astype(np.float16), t.name + '_h'))
        casts.append(helper.make_node('Cast', [t.name + '_h'], [t.name], to=TensorProto.FLOAT, name='half_' + t.name))
    else: kept.append(t)
del m.graph.initializer[:]; m.graph.initializer.extend(kept)
nodes = list(m.graph.node); del m.graph.node[:]; m.graph.node.extend(casts + nodes)
for n in m.graph.node: n.doc_string = ''
onnx.checker.check_model(m); onnx.save(m, sys.argv[2])
after = ort.InferenceSession(m.SerializeToString()).run(None, {'image': x})
print('largest differences', [float(np.abs(a - b).max()) for a, b in zip(before, after)])
