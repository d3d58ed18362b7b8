// What the firmware takes of a board's memory, on MicroPython's own virtual machine (32 bit, as the chip): node fit.mjs
//
// Imports every module in the order of a start. This build of the machine collects garbage only between two calls, so
// what is allocated at the end of an import is more than a board ever needs for it. Prints one JSON object.
import { readFileSync, readdirSync } from "node:fs";
import { dirname, join } from "node:path";
import { fileURLToPath, pathToFileURL } from "node:url";

const here = dirname(fileURLToPath(import.meta.url));
const packages = join(here, "..", "vm", "node_modules", "@micropython", "micropython-webassembly-pyscript");
const { loadMicroPython } = await import(pathToFileURL(join(packages, "micropython.mjs")));

const lines = [];
const mp = await loadMicroPython({ heapsize: 8 * 1024 * 1024, stdout: (line) => lines.push(line) });
function mount(from, to) {
  mp.FS.mkdirTree(to);
  for (const entry of readdirSync(from, { withFileTypes: true })) {
    if (entry.isDirectory() && !entry.name.startsWith("__")) mount(join(from, entry.name), `${to}/${entry.name}`);
    else if (entry.name.endsWith(".py")) mp.FS.writeFile(`${to}/${entry.name}`, readFileSync(join(from, entry.name)));
  }
}
mount(join(here, "..", "..", "..", "firmware"), "/firmware");
mount(join(here, "standin"), "/standin");
mp.runPython(`
import gc, sys
sys.path[:] = ["/", "/firmware"]
from standin import modules
from standin.chip import Chip
for name, module in modules.make_modules(Chip(125000000), modules.Peer(), modules.Files()).items():
    if name != "sys":
        sys.modules[name] = module
`);

function allocated(code) {
  lines.length = 0;
  mp.runPython(`${code}\nprint(gc.mem_alloc())`);
  return Number(lines[0]);
}
function alive() {
  mp.runPython("gc.collect()");
  return allocated("");
}

const first = alive();
let most = 0;
for (const name of process.argv.slice(2)) {
  most = Math.max(most, allocated(`__import__("${name}")`) - first);
  alive();
}
const code = alive() - first;
mp.runPython(`
def _buffers():
    from app.events import EventBuffer
    from app.shots import EDGES_A_LINE, Edges
    global kept
    kept = [EventBuffer(), Edges(), Edges(EDGES_A_LINE)]
_buffers()
`);
const buffers = alive() - first - code;
mp.runPython("from board import sampler");
const rings = allocated("_rings = bytearray((sampler.MACHINES + 1) * sampler.RING_BYTES - 4)") - first - code - buffers;
console.log(JSON.stringify({ code, most, buffers, rings }));
