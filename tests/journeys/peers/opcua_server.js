// A machine on an OPC UA stack that is not ours: counters with a history, and an alarm.
// node opcua_server.js PORT FOLDER: writes FOLDER/served.jsonl (name, source time in ms, value) and says "ready".
// On standard input, one word a line, each answered with "done": "high" raises the level's alarm, "low" lets it return.
"use strict";
const fs = require("fs");
const path = require("path");
const readline = require("readline");
const {
    OPCUAServer, OPCUACertificateManager, Variant, DataType, StatusCodes,
} = require("node-opcua");

const [port, folder] = [Number(process.argv[2]), process.argv[3]];
// UNECE codes as numbers; OPC 10000-8, 5.6.3.
const BAR = ["bar", 4342098], KPA = ["kPa", 4935745];
const UNITS = { level: BAR, "count.1": BAR, "count.2": BAR, "count.3": KPA };
const TEXTS = { "count.1": "Melt pressure before screen", "count.3": "Melt pressure at die" };
const COUNTERS = ["count.1", "count.2", "count.3"];
const RATE_MS = 200;
const OLD = 1500; // samples of "old", one a second, all of before the start

async function main() {
    const log = fs.openSync(path.join(folder, "served.jsonl"), "a");
    const certificates = new OPCUACertificateManager({
        rootFolder: path.join(folder, "pki"), automaticallyAcceptUnknownCertificate: true,
    });
    const server = new OPCUAServer({
        port,
        serverCertificateManager: certificates,
        userManager: { isValidUser: (user, password) => user === "reader" && password === "of-lines" },
        // As small as a controller's, and answered with BadTooManyOperations beyond.
        serverCapabilities: { operationLimits: {
            maxNodesPerRead: 3, maxNodesPerBrowse: 5, maxNodesPerHistoryReadData: 2, maxMonitoredItemsPerCall: 2,
            maxNodesPerTranslateBrowsePathsToNodeIds: 3, maxNodesPerMethodCall: 1,
        } },
    });
    await server.initialize();
    const space = server.engine.addressSpace;
    // Without this its server refuses ConditionRefresh and the rest of the methods of conditions.
    space.installAlarmsAndConditionsService();
    const own = space.registerNamespace("urn:test:another-stack");
    const machine = own.addObject({
        organizedBy: space.rootFolder.objects, browseName: "Machine", nodeId: "s=Machine", eventNotifier: 1,
    });
    space.rootFolder.objects.server.addReference({ referenceType: "HasNotifier", nodeId: machine });
    const nodes = {};
    for (const [name, [text, unitId]] of Object.entries({ ...UNITS, old: BAR })) {
        nodes[name] = own.addAnalogDataItem({
            componentOf: machine, browseName: name, nodeId: `s=${name}`, dataType: "Double",
            description: TEXTS[name] || "",
            engineeringUnitsRange: { low: 0, high: 1e6 },
            engineeringUnits: { namespaceUri: "http://www.opcfoundation.org/UA/units/un/cefact",
                unitId, displayName: { text }, description: { text } },
        });
        space.installHistoricalDataNode(nodes[name], { maxOnlineValues: 100000 });
    }
    machine.addReference({ referenceType: "HasEventSource", nodeId: nodes.level });
    own.instantiateExclusiveLimitAlarm("ExclusiveLimitAlarmType", {
        componentOf: machine, browseName: "LevelAlarm", conditionSource: nodes.level, inputNode: nodes.level,
        highHighLimit: 200, highLimit: 100, lowLimit: -100, lowLowLimit: -200, conditionName: "LevelHigh",
    });
    let last = 0;
    function write(name, value, ms) {
        fs.writeSync(log, JSON.stringify([name, ms, value]) + "\n");
        nodes[name].setValueFromSource(new Variant({ dataType: DataType.Double, value }), StatusCodes.Good, new Date(ms));
    }
    // Whole milliseconds, as the language's times are; the clock never goes back.
    const now = () => (last = Math.max(Date.now(), last));
    const begin = Date.now() - 1000 * OLD;
    for (let n = 0; n < OLD; n++) write("old", n % 7, begin + 1000 * n);
    write("level", 5, now());
    // This stack samples on timers: with two waits one after the other it has looked in between, however busy
    // the computer is; a value that it never looked at would be nobody's fault.
    const half = () => new Promise((done) => { setTimeout(done, RATE_MS / 2); });
    (async () => {
        for (let count = 1; ; count++) {
            await half();
            await half();
            for (const name of COUNTERS) write(name, count % 100, now()); // in every sensor's range
        }
    })();
    readline.createInterface({ input: process.stdin }).on("line", (word) => {
        if (word === "high") write("level", 150, now());
        if (word === "low") write("level", 5, now());
        console.log("done");
    }).on("close", async () => { await server.shutdown(50); process.exit(0); });
    await server.start();
    console.log("ready");
}

main().catch((error) => { console.error(error); process.exit(1); });
