// The board layer on MicroPython's own virtual machine, against the stand-in chip: node vm.mjs
//
// firmware/ is mounted as the root of the board, tests/firmware/board/standin beside it; vm_board.py does the rest.
// Prints one JSON object a line: {"test", "ok", "trace"} for each, then {"done": true}.
import { readFileSync, readdirSync } from "node:fs";
import { dirname, join } from "node:path";
import { fileURLToPath, pathToFileURL } from "node:url";

const here = dirname(fileURLToPath(import.meta.url));
const packages = join(here, "..", "vm", "node_modules", "@micropython", "micropython-webassembly-pyscript");
const { loadMicroPython } = await import(pathToFileURL(join(packages, "micropython.mjs")));

// The stand-in's model of the chip and its memory live in this heap as well; the board's share is asserted inside.
const mp = await loadMicroPython({ heapsize: 8 * 1024 * 1024, stdout: (line) => console.log(line) });
function mount(from, to) {
  mp.FS.mkdirTree(to);
  for (const entry of readdirSync(from, { withFileTypes: true })) {
    if (entry.isDirectory() && !entry.name.startsWith("__")) mount(join(from, entry.name), `${to}/${entry.name}`);
    else if (entry.name.endsWith(".py")) mp.FS.writeFile(`${to}/${entry.name}`, readFileSync(join(from, entry.name)));
  }
}
mount(join(here, "..", "..", "..", "firmware"), "/firmware");
mount(join(here, "standin"), "/standin");
mp.FS.writeFile("/vm_board.py", readFileSync(join(here, "vm_board.py")));
mp.runPython("import sys\nsys.path[:] = ['/', '/firmware']\nimport vm_board\n");
for (const name of [...mp.globals.get("vm_board").NAMES]) {
  mp.runPython(`vm_board.run(${JSON.stringify(name)})`);
}
console.log(JSON.stringify({ done: true }));
