// Reads a device tree with node-homie, an implementation of the Homie convention 5 that is not ours, and sets
// something in it. Prints what it found as JSON. Anything that it rejects unhandled ends it with code 1: that
// is how a description that breaks the convention shows.
//
//     node controller.js PORT ROOT-DEVICE SECONDS SETS
//
// SETS is a JSON array of [device, node, property, value, value to wait for or null].
"use strict";

const { DeviceDiscovery, HomieDeviceManager } = require("node-homie");
const { validateHomieValue } = require("node-homie/util");

const PATIENCE_MS = 60_000;
const [port, root, seconds, sets] = process.argv.slice(2);

for (const event of ["unhandledRejection", "uncaughtException"]) {
  process.on(event, (error) => {
    console.error(`${event}: ${error && error.stack ? error.stack : error}`);
    process.exit(1);
  });
}

const sleep = (ms) => new Promise((resolve) => setTimeout(resolve, ms));

async function until(said, what) {
  const giveUp = Date.now() + PATIENCE_MS;
  while (!said()) {
    if (Date.now() > giveUp) throw new Error(`waited in vain: ${what}`);
    await sleep(20);
  }
}

function describe(device) {
  const properties = {};
  for (const node of Object.values(device.nodes)) {
    for (const property of Object.values(node.properties)) {
      const { datatype, format, settable, retained, unit, name } = property.attributes;
      const kept = retained !== false;
      const values = [property.value, property.target].filter((value) => kept && value !== undefined);
      properties[`${node.id}/${property.id}`] = {
        datatype, settable, retained, unit, name,
        value: property.value ?? null,
        target: property.target ?? null,
        invalid: values.filter((value) => !validateHomieValue(value, datatype, format)),
      };
    }
  }
  const { name, type, parent, children } = device.attributes;
  return {
    name, type, parent, children,
    root: device.attributes.root,
    state: device.deviceState,
    alerts: Object.fromEntries(device.alerts),
    properties,
  };
}

async function main() {
  const options = { url: `mqtt://127.0.0.1:${port}`, topicRoot: "homie" };
  const manager = new HomieDeviceManager();
  const discovery = new DeviceDiscovery(options);
  discovery.events$.subscribe({
    next: (event) => {
      if (event.type === "error") throw event.error;
      if (event.type === "add" && !manager.hasDevice(event.deviceId)) {
        void manager.add(event.makeDevice()).onInit();
      } else if (event.type === "remove") {
        void manager.removeDevice(event.deviceId)?.onDestroy();
      }
    },
  });
  await discovery.onInit();
  await until(() => manager.getDevice(root)?.deviceState === "ready", `${root} is ready`);
  // Devices, descriptions and values come in bursts that the library holds back a little.
  await sleep(1000 * Number(seconds));
  const found = Object.fromEntries(Object.entries(manager.devices).map(([id, each]) => [id, describe(each)]));
  const reached = [];
  for (const [device, node, name, value, wanted] of JSON.parse(sets)) {
    const property = manager.getDevice(device).get(node).get(name);
    property.setCommand$(value).subscribe();
    if (wanted !== null) {
      await until(() => property.value === wanted, `${device}/${node}/${name} is ${wanted}`);
    }
    reached.push({ value: property.value ?? null, target: property.target ?? null });
  }
  await sleep(200);
  console.log(JSON.stringify({ found, reached }));
  process.exit(0);
}

void main();
