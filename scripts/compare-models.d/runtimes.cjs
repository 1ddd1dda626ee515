// The independent runtimes: each function loads a network from its published file and returns a function from an input
// to { tensor name: Float32Array }.
'use strict';
const fs = require('fs');
const path = require('path');
const { createRequire } = require('module');

// tflite runs TensorFlow Lite compiled to WebAssembly. The package's own loader wants a browser, so the module is
// started directly; its binary is handed in because there is nothing to fetch it from.
async function tflite(modules, files) {
  const from = createRequire(path.join(modules, 'package.json'));
  const folder = path.join(path.dirname(from.resolve('@tensorflow/tfjs-tflite/package.json')), 'wasm');
  const name = 'tflite_web_api_cc_simd';
  const factory = require(path.join(folder, name + '.js'));
  const wasm = await factory({
    wasmBinary: fs.readFileSync(path.join(folder, name + '.wasm')),
    print: () => {}, printErr: () => {},
  });
  const at = wasm._malloc(files.file.length);
  wasm.HEAPU8.set(files.file, at);
  const made = wasm.TFLiteWebModelRunner.CreateFromBufferAndOptions(
    at, files.file.length, { numThreads: 1, enableProfiling: false, maxProfilingBufferEntries: 0 });
  if (!made.ok()) throw new Error('TensorFlow Lite does not open the file: ' + made.errorMessage());
  const runner = made.value();
  const run = async (input) => {
    const inputs = runner.GetInputs();
    if (inputs.size() !== 1) throw new Error(`${inputs.size()} inputs`);
    inputs.get(0).data().set(input);
    if (!runner.Infer()) throw new Error('TensorFlow Lite failed');
    const outputs = runner.GetOutputs(), result = {};
    for (let i = 0; i < outputs.size(); i++) {
      const o = outputs.get(i);
      result[o.name] = Float32Array.from(o.data());
    }
    return result;
  };
  return { run, label: 'TensorFlow Lite in WebAssembly, @tensorflow/tfjs-tflite ' + version(from, '@tensorflow/tfjs-tflite') };
}

// tfjs runs TensorFlow.js on its plain JavaScript backend, which is slow and simple.
async function tfjs(modules, files, manifest) {
  const from = createRequire(path.join(modules, 'package.json'));
  const core = from('@tensorflow/tfjs-core');
  from('@tensorflow/tfjs-backend-cpu');
  const converter = from('@tensorflow/tfjs-converter');
  core.env().set('IS_NODE', false); // it would only advise another package
  await core.setBackend('cpu');
  const json = JSON.parse(files.file);
  const weights = files.weights;
  const model = await converter.loadGraphModel({
    load: async () => ({
      modelTopology: json.modelTopology, format: json.format, signature: json.signature,
      weightSpecs: json.weightsManifest.flatMap((g) => g.weights),
      weightData: weights.buffer.slice(weights.byteOffset, weights.byteOffset + weights.length),
    }),
  });
  const names = manifest.outputs.map((o) => o.tensor);
  const run = async (input) => {
    const { dtype, shape } = model.inputs[0];
    const x = core.tensor(dtype === 'int32' ? Int32Array.from(input) : input, shape, dtype);
    const list = [].concat(model.execute(x, names));
    const result = {};
    for (let i = 0; i < names.length; i++) result[names[i]] = Float32Array.from(await list[i].data());
    core.dispose([x, ...list]);
    return result;
  };
  return { run, label: 'TensorFlow.js in JavaScript, @tensorflow/tfjs-core ' + version(from, '@tensorflow/tfjs-core') };
}

function version(from, name) {
  return JSON.parse(fs.readFileSync(from.resolve(name + '/package.json'))).version;
}

module.exports = { tflite, tfjs };
