// Records what an independent implementation of OPC 10000-13 (node-opcua-aggregates, MIT) answers.
// In a copy of this folder: npm install && node record.js > answers.json
"use strict";
const aggregates = require("node-opcua-aggregates");
const { DataValue } = require("node-opcua-data-value");
const { StatusCodes } = require("node-opcua-status-code");
const { DataType } = require("node-opcua-variant");
const version = require("node-opcua-aggregates/package.json").version;

const KINDS = {
  Average: aggregates.getAverageData,
  Count: aggregates.getCountData,
  Minimum: aggregates.getMinData,
  Maximum: aggregates.getMaxData,
  Interpolative: aggregates.getInterpolatedData,
  DurationGood: aggregates.getDurationGoodData,
  DurationBad: aggregates.getDurationBadData,
  PercentGood: aggregates.getPercentGoodData,
  PercentBad: aggregates.getPercentBadData,
};
const CODES = { Good: StatusCodes.Good, Bad: StatusCodes.Bad, Uncertain: StatusCodes.Uncertain };
const START_MS = Date.UTC(2030, 0, 1);

// A generator with a fixed seed (mulberry32), so that the series are the same wherever this runs.
function chance(seed) {
  return () => {
    seed = (seed + 0x6d2b79f5) | 0;
    let t = Math.imul(seed ^ (seed >>> 15), 1 | seed);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
}

function series(seed, shares) {
  const next = chance(seed);
  const rows = [];
  for (let ms = -3000; ms < 63000; ms += 200 + Math.floor(next() * 2500)) {
    const draw = next();
    const code = draw < shares.bad ? "Bad" : draw < shares.bad + shares.uncertain ? "Uncertain" : "Good";
    rows.push([ms, Math.round(next() * 1000) / 10, code]);
  }
  return rows;
}

function node(rows, config) {
  const dataValues = rows.map(([ms, value, code]) => new DataValue({
    sourceTimestamp: new Date(START_MS + ms),
    statusCode: CODES[code],
    value: { dataType: DataType.Double, value },
  }));
  const property = (value) => ({ readValue: () => ({ value: { value } }) });
  return {
    nodeClass: 2,
    $historicalDataConfiguration: {
      stepped: property(config.stepped),
      aggregateConfiguration: {
        percentDataBad: property(config.percent_bad),
        percentDataGood: property(config.percent_good),
        treatUncertainAsBad: property(config.treat_uncertain_as_bad),
        useSlopedExtrapolation: property(config.use_sloped_extrapolation),
      },
    },
    historyRead: (context, details, range, encoding, point, callback) =>
      callback(null, { historyData: { dataValues } }),
  };
}

function ask(kind, rows, config) {
  const ends = [new Date(START_MS), new Date(START_MS + 60000)];
  return new Promise((resolve, reject) => {
    KINDS[kind](node(rows, config), 5000, ...ends, (error, found) => {
      if (error) return reject(error);
      resolve(found.map((v) => [v.value ? v.value.value ?? null : null, v.statusCode.value >>> 0]));
    });
  });
}

async function main() {
  const cases = [];
  for (let seed = 1; seed <= 12; seed++) {
    const shares = { bad: [0, 0.1, 0.3][seed % 3], uncertain: seed > 9 ? 0.15 : 0 };
    const config = {
      stepped: seed % 2 === 0,
      treat_uncertain_as_bad: seed % 4 < 2,
      percent_bad: 100,
      percent_good: 100,
      use_sloped_extrapolation: false,
    };
    const rows = series(seed, shares);
    const answers = {};
    for (const kind of Object.keys(KINDS)) answers[kind] = await ask(kind, rows, config);
    cases.push({ seed, config, rows, answers });
  }
  const source = `node-opcua-aggregates ${version} (MIT), node ${process.version}`;
  const said = "rows: [ms, value, quality]; answers: [value, StatusCode] of each 5 s from ms 0 to 60000";
  const lines = cases.map((c) => JSON.stringify(c)).join(",\n");
  process.stdout.write(`{"source": ${JSON.stringify(source)},\n"said": ${JSON.stringify(said)},\n"cases": [\n${lines}\n]}\n`);
}
main();
