// Drives a real YAML language server over stdio: editor.mjs SERVER EXAMPLE STARTER OWN.
// EXAMPLE is a copy of the example car, STARTER a project that `tierod init` has written, OWN a copy of the example whose
// schemas have its ids (`tierod schema records --project`).
import { spawn } from "node:child_process";
import { readdirSync, readFileSync } from "node:fs";
import { join, relative } from "node:path";
import { pathToFileURL } from "node:url";
import assert from "node:assert/strict";

const [server, example, starter, own] = process.argv.slice(2);

/** A client of the language server: requests by id, diagnostics by document. */
class Editor {
  constructor(path) {
    this.process = spawn(process.execPath, [path, "--stdio"], { stdio: ["pipe", "pipe", "inherit"] });
    this.waiting = new Map();
    this.published = new Map();
    this.buffer = Buffer.alloc(0);
    this.next = 1;
    this.process.stdout.on("data", (part) => this.read(part));
  }

  read(part) {
    this.buffer = Buffer.concat([this.buffer, part]);
    for (;;) {
      const end = this.buffer.indexOf("\r\n\r\n");
      if (end < 0) return;
      const length = Number(/Content-Length: (\d+)/i.exec(this.buffer.subarray(0, end).toString())[1]);
      if (this.buffer.length < end + 4 + length) return;
      const message = JSON.parse(this.buffer.subarray(end + 4, end + 4 + length).toString());
      this.buffer = this.buffer.subarray(end + 4 + length);
      this.take(message);
    }
  }

  take(message) {
    if (message.method === "workspace/configuration") {
      // No list of schemas of the web: only what a file names.
      const yaml = { validate: true, completion: true, hover: true, schemaStore: { enable: false } };
      const result = message.params.items.map((item) => (item.section === "yaml" ? yaml : null));
      this.send({ id: message.id, result });
    } else if (message.method && message.id !== undefined) {
      this.send({ id: message.id, result: null });
    } else if (message.method === "textDocument/publishDiagnostics") {
      this.published.get(message.params.uri)?.(message.params.diagnostics);
    } else if (message.id !== undefined) {
      const { resolve, reject } = this.waiting.get(message.id);
      this.waiting.delete(message.id);
      message.error ? reject(new Error(message.error.message)) : resolve(message.result);
    }
  }

  send(message) {
    const text = JSON.stringify({ jsonrpc: "2.0", ...message });
    this.process.stdin.write(`Content-Length: ${Buffer.byteLength(text)}\r\n\r\n${text}`);
  }

  request(method, params) {
    const id = this.next++;
    this.send({ id, method, params });
    return new Promise((resolve, reject) => this.waiting.set(id, { resolve, reject }));
  }

  async start(folder) {
    const uri = pathToFileURL(folder).href;
    const capabilities = {
      workspace: { configuration: true },
      textDocument: { completion: { completionItem: { snippetSupport: true } } },
    };
    await this.request("initialize", {
      processId: process.pid,
      rootUri: uri,
      workspaceFolders: [{ uri, name: "car" }],
      capabilities,
    });
    this.send({ method: "initialized", params: {} });
  }

  /** Opens a document and waits for its diagnostics. */
  async open(path, text = readFileSync(path, "utf8")) {
    const uri = pathToFileURL(path).href;
    const diagnostics = new Promise((resolve, reject) => {
      const late = setTimeout(() => reject(new Error(`no diagnostics for ${path}`)), 60_000);
      this.published.set(uri, (list) => {
        clearTimeout(late);
        resolve(list);
      });
    });
    this.send({ method: "textDocument/didOpen", params: { textDocument: { uri, languageId: "yaml", version: this.next++, text } } });
    const found = await diagnostics;
    this.published.delete(uri);
    return found;
  }

  close(path) {
    this.send({ method: "textDocument/didClose", params: { textDocument: { uri: pathToFileURL(path).href } } });
  }

  /** What is offered where `|` is in a text that is typed into a file of a folder. */
  async offers(folder, name, typed) {
    const path = join(folder, name);
    const before = typed.slice(0, typed.indexOf("|"));
    await this.open(path, typed.replace("|", ""));
    const lines = before.split("\n");
    const position = { line: lines.length - 1, character: lines.at(-1).length };
    const uri = pathToFileURL(path).href;
    const list = await this.request("textDocument/completion", { textDocument: { uri }, position });
    this.close(path);
    return (list.items ?? list).map((item) => ({
      label: item.label,
      text: item.textEdit?.newText ?? item.insertText ?? item.label,
    }));
  }

  async stop() {
    await this.request("shutdown", null);
    this.send({ method: "exit" });
  }
}

/** The YAML files below a folder. */
function files(folder) {
  return readdirSync(folder, { withFileTypes: true }).flatMap((entry) => {
    const path = join(folder, entry.name);
    if (entry.isDirectory()) return files(path);
    return entry.name.endsWith(".yaml") ? [path] : [];
  });
}

const editor = new Editor(server);
await editor.start(example);
let passed = 0;
async function test(what, run) {
  await run();
  passed += 1;
  console.log(`ok: ${what}`);
}

const records = "# yaml-language-server: $schema=./tierod.schema.json\n";
const settings = "# yaml-language-server: $schema=./tierod-settings.schema.json\n";
const labels = async (folder, typed) => (await editor.offers(folder, "typed.yaml", records + typed)).map((item) => item.label);
const has = (offered, wanted) => {
  for (const one of wanted) assert.ok(offered.includes(one), `no \`${one}\` in ${offered.join(" ")}`);
  assert.ok(!offered.includes("null"), `\`null\` in ${offered.join(" ")}`);
};

for (const folder of [example, starter]) {
  await test(`no diagnostic on any file of ${folder === example ? "the example" : "the starter"}`, async () => {
    const paths = files(folder);
    assert.ok(paths.length >= (folder === example ? 15 : 3), `${paths.length} files`);
    let named = 0;
    for (const path of paths) {
      const text = readFileSync(path, "utf8");
      // Settings of a drawing export are no records.
      if (!relative(folder, path).startsWith("cad")) {
        assert.match(text.split("\n")[0], /^# yaml-language-server: \$schema=\.\.?\/tierod(-settings)?\.schema\.json$/, path);
        named += 1;
      }
      assert.deepEqual(await editor.open(path, text), [], path);
      editor.close(path);
    }
    assert.ok(named >= paths.length - 1);
  });
}

await test("the kinds of record at the top of a file", async () => {
  has(await labels(starter, "|"), ["goals", "events", "systems", "targets", "parts", "analyses", "results"]);
});
await test("the keys of a kind", async () => {
  has(await labels(starter, "targets:\n  t:\n    |"), ["of", "at-most", "serves", "verify", "lead"]);
  has(await labels(starter, "parts:\n  hub:\n    |"), ["in", "count", "amounts", "serves"]);
});
await test("a unit", async () => {
  has(await labels(starter, "targets:\n  t:\n    at-most: |"), ["1 kg", "1 s", "1 N*m", "1 °C", "1 EUR"]);
  has(await labels(starter, "parts:\n  hub:\n    amounts:\n      mass:\n        value: |"), ["1 kg", "1 g"]);
});
await test("a basis", async () => {
  has(await labels(starter, "parts:\n  hub:\n    amounts:\n      mass: {value: 1 kg, basis: |}"), ["drawn", "weighed"]);
});
await test("a model", async () => {
  has(await labels(starter, "analyses:\n  a:\n    model: |"), ["straight-line", "steady-circle", "lap"]);
});
await test("a score sheet", async () => {
  has(await labels(starter, "events:\n  e:\n    score:\n      use: |"), ["sae-2024.acceleration", "fs-rules-2026.skidpad"]);
});
await test("a word of a list", async () => {
  has(await labels(starter, "targets:\n  t:\n    verify:\n      by: |"), ["test", "analysis", "inspection"]);
});
await test("no word for a text", async () => {
  assert.deepEqual(await labels(starter, "parts:\n  hub:\n    title: |"), []);
});
await test("the ids that a key may name, of this project", async () => {
  const systems = await labels(own, "parts:\n  hub:\n    in: |");
  has(systems, ["suspension", "wheels-and-tyres"]);
  assert.ok(!systems.includes("accel-time"), "a part is not in a target");
  const served = await labels(own, "parts:\n  hub:\n    serves:\n      |");
  has(served, ["accel-time", "car-mass"]);
  assert.ok(!served.includes("suspension-lead") && !served.includes("mass-survey"), "an analysis is not served");
  has(await labels(own, "revisions:\n  r:\n    of: |"), ["car-mass"]);
  has(await labels(own, "decisions:\n  d:\n    criteria:\n      - |"), ["car-mass"]);
});
await test("a key of the settings", async () => {
  const offered = await editor.offers(starter, "settings-typed.yaml", `${settings}|`);
  has(offered.map((item) => item.label), ["season", "stages", "growth", "levels"]);
});
await test("a wrong key, a wrong unit and a missing key are reported", async () => {
  let number = 0;
  const wrong = async (text) => {
    // A name of its own: closing a document clears its diagnostics, and that could arrive after it was opened again.
    const path = join(starter, `wrong-${(number += 1)}.yaml`);
    const found = await editor.open(path, records + text);
    editor.close(path);
    return found.map((one) => `${one.range.start.line}: ${one.message}`).join("\n");
  };
  assert.match(await wrong("parts:\n  hub:\n    in: car\n    cuont: 2\n"), /^4: .*cuont/);
  assert.match(await wrong("targets:\n  t:\n    of: car\n    at-most: about 5\n"), /^4: /);
  assert.match(await wrong("systems:\n  brakes:\n    title: Brakes\n"), /"in"/);
  assert.match(await wrong("targets:\n  t:\n    of: car\n    at-most: {a: b}\n"), /^4: /);
  assert.equal(await wrong("targets:\n  t:\n    of: car\n    at-most: 5 s\n    title:\n    estimate:\n"), "");
});
await editor.stop();
console.log(`${passed} tests passed`);
