// An edge node on a Sparkplug stack that is not ours: group g, node n1, device dev.
// node sparkplug_edge.js BROKER_PORT FOLDER: writes FOLDER/published.jsonl (address, time in ms, value) of every
// good sample and FOLDER/births.jsonl, and says "ready" once it was born.
// On standard input, one word a line, each answered with "done": "tell" publishes ten rounds, "squeeze" one that is
// compressed, "skip" leaves a number out and publishes one, "store" keeps ten rounds back and "flush" publishes
// them as historical, "device-off" and "device-on", "doubt" says a null and a value of bad quality.
"use strict";
const fs = require("fs");
const path = require("path");
const readline = require("readline");
const { newClient } = require("sparkplug-client");

const [port, folder] = [process.argv[2], process.argv[3]];
const DEVICE = "dev";
// Every type that is a number, each on its own way through the field that the library chooses.
const NODE = { int8: "Int8", int16: "Int16", int32: "Int32", int64: "Int64" };
const DEV = { uint8: "UInt8", uint16: "UInt16", uint32: "UInt32", uint64: "UInt64", float: "Float", "melt/pressure": "Double",
    on: "Boolean" };
const ALIAS = Object.fromEntries(Object.keys(DEV).map((name, n) => [name, 100 + n]));
const KPA = { engUnit: { type: "String", value: "kPa" } };

const log = fs.openSync(path.join(folder, "published.jsonl"), "a");
const births = fs.openSync(path.join(folder, "births.jsonl"), "a");
let last = 0, count = 0, kept = [];
const now = () => (last = Math.max(Date.now(), last + 1));

// Negative where the type can be, and none that its type cannot hold.
function value(type) {
    const small = count % 100;
    if (type === "Boolean") return count % 2 === 1;
    if (type === "Float" || type === "Double") return count / 4;
    return type.startsWith("Int") ? -small : small;
}

function metrics(types, device, at) {
    return Object.entries(types).map(([name, type]) => {
        const said = value(type);
        fs.writeSync(log, JSON.stringify([`n1/${device}/${name}`, at, Number(said)]) + "\n");
        return { name, type, value: said, timestamp: at };
    });
}

const byAlias = (metric) => ({ alias: ALIAS[metric.name], type: metric.type, value: metric.value, timestamp: metric.timestamp });

function round() {
    count += 1;
    const at = now();
    return { at, node: metrics(NODE, "", at), device: metrics(DEV, DEVICE, at).map(byAlias) };
}

const client = newClient({ serverUrl: `mqtt://127.0.0.1:${port}`, username: "", password: "", groupId: "g", edgeNode: "n1",
    clientId: "edge-n1", version: "spBv1.0" });

function bearDevice(at) {
    const own = metrics(DEV, DEVICE, at).map((metric) => ({ ...metric, alias: ALIAS[metric.name],
        ...(metric.name === "melt/pressure" ? { properties: KPA } : {}) }));
    client.publishDeviceBirth(DEVICE, { timestamp: at, metrics: own });
}

function bear() {
    count += 1;
    const at = now();
    const table = { numOfColumns: 1, columns: ["a"], types: ["Double"], rows: [[1.5]] };
    client.publishNodeBirth({ timestamp: at, metrics: [
        { name: "Node Control/Rebirth", type: "Boolean", value: false, timestamp: at },
        { name: "recipe", type: "String", value: "Ö-12", timestamp: at },
        { name: "maybe", type: "Double", value: null, timestamp: at },
        { name: "table", type: "DataSet", value: table, timestamp: at },
        ...metrics(NODE, "", at),
    ] });
    bearDevice(at);
    fs.writeSync(births, JSON.stringify(at) + "\n");
}

function tell({ at, node, device }, options) {
    client.publishNodeData({ timestamp: at, metrics: node }, options);
    client.publishDeviceData(DEVICE, { timestamp: at, metrics: device }, options);
}

const late = (said) => said.map((metric) => ({ ...metric, isHistorical: true }));

const WORDS = {
    tell: () => { for (let n = 0; n < 10; n++) tell(round()); },
    squeeze: () => tell(round(), { compress: true }),
    skip: () => { client.incrementSeqNum(); tell(round()); },
    store: () => { for (let n = 0; n < 10; n++) kept.push(round()); },
    flush: () => {
        for (const { at, node, device } of kept) tell({ at, node: late(node), device: late(device) });
        kept = [];
    },
    "device-off": () => client.publishDeviceDeath(DEVICE, { timestamp: now() }),
    "device-on": () => { count += 1; bearDevice(now()); },
    doubt: () => {
        const bad = { Quality: { type: "Int32", value: 0 } };
        client.publishNodeData({ timestamp: now(), metrics: [{ name: "maybe", type: "Double", value: null, timestamp: now() }] });
        client.publishNodeData({ timestamp: now(), metrics: [
            { name: "maybe", type: "Double", value: 3.5, timestamp: now(), properties: bad }] });
    },
};

client.on("birth", () => { bear(); console.log("ready"); });
client.on("ncmd", (payload) => {
    if (payload.metrics.some((m) => m.name === "Node Control/Rebirth" && m.value === true)) bear();
});
client.on("error", (error) => { console.error(error); process.exit(1); });
readline.createInterface({ input: process.stdin })
    .on("line", (word) => { WORDS[word](); console.log("done"); })
    .on("close", () => process.exit(0));
