// Runs one test file of tests/firmware/app on MicroPython's own virtual machine:
//
//     node run.mjs test_wire                          every test_* function, then the steps_* generators
//     node run.mjs test_hostile steps_hostile_long    one generator; those named *_long run only like this
//
// firmware/ is mounted as /coincide_firmware, the tests as /tests/firmware/app, in the machine's own file system.
// This build of the machine collects garbage only between two calls from outside and takes more memory from its
// host meanwhile. So each test is a call of its own, and what is alive after it is compared with the heap a board
// has left for us. A generator steps_* is stricter: it runs with the heap nailed to that size, collected after
// every step, so that a step which needs more fails with a MemoryError as it would on the board.
//
// Prints one JSON object a line: {"test", "ok", "trace", "used"} for each, then {"done": name}.
import { existsSync, readFileSync, readdirSync } from "node:fs";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";
import { loadMicroPython } from "@micropython/micropython-webassembly-pyscript";

const HEAP_BYTES = 190 * 1024; // an RP2040 has about this much left for Python
const here = dirname(fileURLToPath(import.meta.url));
const root = join(here, "..", "..", "..");
const [name, only] = process.argv.slice(2);

async function machine() {
  const lines = [];
  const mp = await loadMicroPython({ heapsize: HEAP_BYTES, stdout: (line) => lines.push(line) });
  const mount = (from, to) => {
    mp.FS.mkdirTree(to);
    for (const entry of readdirSync(from, { withFileTypes: true })) {
      if (entry.isDirectory() && !entry.name.startsWith("__")) {
        mount(join(from, entry.name), `${to}/${entry.name}`);
      } else if (entry.name.endsWith(".py")) {
        mp.FS.writeFile(`${to}/${entry.name}`, readFileSync(join(from, entry.name)));
      }
    }
  };
  mount(join(root, "firmware"), "/coincide_firmware");
  mount(join(here, "..", "app"), "/tests/firmware/app");
  mp.FS.writeFile("/tests/__init__.py", "");
  mp.FS.writeFile("/tests/firmware/__init__.py", "");
  mp.runPython(`
import gc, io, json, sys
sys.path.insert(0, "/")

def _try(what):
    trace = ""
    try:
        what()
    except BaseException as error:
        out = io.StringIO()
        sys.print_exception(error, out)
        trace = out.getvalue()
    print(json.dumps({"ok": not trace, "trace": trace}))
`);
  return {
    mp,
    // One call from outside, garbage collected after it; what it printed as JSON in its last line.
    call(code) {
      lines.length = 0;
      mp.runPython(code);
      const said = lines.slice();
      mp.runPython("gc.collect()");
      const last = said.pop();
      for (const line of said) console.log(JSON.stringify({ said: line }));
      return last === undefined ? {} : JSON.parse(last);
    },
    used() {
      lines.length = 0;
      mp.runPython("print(gc.mem_alloc())");
      return Number(lines[0]);
    },
    // From here on the machine gets no more memory than it has: growth refused, what malloc holds taken.
    nail() {
      const module = mp._module;
      const spare = module._malloc(8192); // for the text of the calls
      const grow = WebAssembly.Memory.prototype.grow;
      let refused = () => {};
      WebAssembly.Memory.prototype.grow = () => {
        refused();
        throw new RangeError("the heap is nailed");
      };
      for (let size = 1 << 26; size >= 4096; size >>= 1) while (module._malloc(size) !== 0);
      module._free(spare);
      refused = () => {
        report(only ?? name, { ok: false, trace: "MemoryError: one step needs more than a board's heap" }, HEAP_BYTES);
        process.exit(1);
      };
      return () => { WebAssembly.Memory.prototype.grow = grow; };
    },
  };
}

function report(test, result, used) {
  console.log(JSON.stringify({ test, ok: result.ok, trace: result.trace ?? "", used }));
}

// The modules a module brings in, each after those it needs itself.
function inOrder(module, seen) {
  const path = join(root, ...module.replace("coincide_firmware", "firmware").split(".")) + ".py";
  if (seen.includes(module) || !existsSync(path)) return seen;
  const text = readFileSync(path, "utf8");
  const folder = module.slice(0, module.lastIndexOf("."));
  for (const [, from, what] of text.matchAll(/^from (\S+) import (.+)$/gm)) {
    if (from === ".") for (const each of what.split(", ")) inOrder(`${folder}.${each}`, seen);
    else inOrder(from.startsWith(".") ? folder + from : from, seen);
  }
  seen.push(module);
  return seen;
}

// A generator, a step a call, in the heap of a board and not a byte more.
async function walk(steps) {
  const vm = await machine();
  const unnail = vm.nail();
  let result = { ok: true };
  let most = 0;
  for (const module of inOrder(`tests.firmware.app.${name}`, [])) {
    result = vm.call(`_try(lambda: __import__("${module}"))`);
    if (!result.ok) break;
  }
  if (result.ok) {
    vm.call(`
def _next():
    global _going
    try:
        next(_steps)
    except StopIteration:
        _going = False
_steps = sys.modules["tests.firmware.app.${name}"].${steps}()
_going = True`);
  }
  while (result.ok) {
    result = vm.call("_try(_next)");
    most = Math.max(most, vm.used());
    if (vm.call("print(json.dumps(_going))") !== true) break;
  }
  unnail();
  report(steps, result, most);
}

async function main() {
  console.error = () => {}; // the machine's host says at length when it is refused memory
  if (only) {
    await walk(only);
    return console.log(JSON.stringify({ done: name }));
  }
  const vm = await machine();
  const loaded = vm.call(`
def _load():
    global _module
    _module = __import__("tests.firmware.app.${name}", None, None, ("x",))
_try(_load)`);
  if (!loaded.ok) return report("import", loaded, vm.used());
  const names = vm.call("print(json.dumps(sorted(dir(_module))))");
  for (const test of names.filter((each) => each.startsWith("test_"))) {
    const result = vm.call(`_try(_module.${test})`);
    const used = vm.used();
    if (result.ok && used > HEAP_BYTES) {
      result.ok = false;
      result.trace = `${used} bytes alive after the test, a board has ${HEAP_BYTES}`;
    }
    report(test, result, used);
  }
  for (const steps of names.filter((each) => each.startsWith("steps_") && !each.endsWith("_long"))) {
    await walk(steps);
  }
  console.log(JSON.stringify({ done: name }));
}

await main();
