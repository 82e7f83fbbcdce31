// A machine on an OPC UA stack that is not ours: counters with a history, and an alarm.
// node opcua_server.js PORT FOLDER: writes FOLDER/served.jsonl (name, source time in ms, value) and says "ready".
// On standard input, one word a line: "high" raises the level's alarm, "low" lets it return, "quiet" stops counting.
"use strict";
const fs = require("fs");
const path = require("path");
const readline = require("readline");
const {
    OPCUAServer, OPCUACertificateManager, Variant, DataType, DataValue, StatusCodes, VariantArrayType,
} = require("node-opcua");

const [port, folder] = [Number(process.argv[2]), process.argv[3]];
const NAMES = ["level", "count.1", "count.2", "count.3"];
const RATE_MS = 200;

async function main() {
    const log = fs.openSync(path.join(folder, "served.jsonl"), "a");
    const certificates = new OPCUACertificateManager({
        rootFolder: path.join(folder, "pki"), automaticallyAcceptUnknownCertificate: true,
    });
    const server = new OPCUAServer({
        port,
        serverCertificateManager: certificates,
        userManager: { isValidUser: (user, password) => user === "reader" && password === "of-lines" },
    });
    await server.initialize();
    const space = server.engine.addressSpace;
    const own = space.registerNamespace("urn:test:another-stack");
    const machine = own.addObject({
        organizedBy: space.rootFolder.objects, browseName: "Machine", nodeId: "s=Machine", eventNotifier: 1,
    });
    space.rootFolder.objects.server.addReference({ referenceType: "HasNotifier", nodeId: machine });
    const nodes = {};
    for (const name of NAMES) {
        nodes[name] = own.addAnalogDataItem({
            componentOf: machine, browseName: name, nodeId: `s=${name}`, dataType: "Double",
            engineeringUnitsRange: { low: 0, high: 1e9 },
            engineeringUnits: { namespaceUri: "http://www.opcfoundation.org/UA/units/un/cefact",
                unitId: 4342098, displayName: { text: "bar" }, description: { text: "bar" } },
        });
        space.installHistoricalDataNode(nodes[name], { maxOnlineValues: 100000 });
    }
    machine.addReference({ referenceType: "HasEventSource", nodeId: nodes.level });
    const alarm = own.instantiateExclusiveLimitAlarm("ExclusiveLimitAlarmType", {
        componentOf: machine, browseName: "LevelAlarm", conditionSource: nodes.level, inputNode: nodes.level,
        highHighLimit: 2e9, highLimit: 1e9, lowLimit: -1e9, lowLowLimit: -2e9, conditionName: "LevelHigh",
    });
    let last = 0;
    function write(name, value) {
        // Whole milliseconds, as the language's times are, and never the same one twice.
        last = Math.max(Date.now(), last);
        const at = new Date(last);
        fs.writeSync(log, JSON.stringify([name, last, value]) + "\n");
        nodes[name].setValueFromSource(new Variant({ dataType: DataType.Double, value }), StatusCodes.Good, at);
    }
    write("level", 5);
    let count = 0;
    const counting = setInterval(() => {
        count += 1;
        for (const name of NAMES.slice(1)) write(name, count);
    }, RATE_MS);
    readline.createInterface({ input: process.stdin }).on("line", (word) => {
        if (word === "high") write("level", 1.5e9);
        if (word === "low") write("level", 5);
        if (word === "quiet") clearInterval(counting);
        console.log("done");
    }).on("close", async () => { await server.shutdown(50); process.exit(0); });
    await server.start();
    console.log("ready");
}

main().catch((error) => { console.error(error); process.exit(1); });
