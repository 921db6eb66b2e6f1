// A data package before a reader that is not ours: package.mjs DIR. The description is valid, every row of every
// table fits the types and constraints it states, and what one table says of another is there.
// The form: Frictionless Data, Data Package and Tabular Data Resource, version 1.
import { createRequire } from "node:module";
import { check, finish } from "./browser.mjs";

const require = createRequire(process.env.BROWSER_MODULES + "/");
const { Package } = require("datapackage");
const directory = process.argv[2];

const found = await Package.load(directory + "/datapackage.json", { basePath: directory, strict: false });
check(found.valid, `${directory}: ${found.errors.map((error) => error.message)}`);
check(found.resources.length > 0, `${directory}: describes no table`);
let rows = 0;
for (const resource of found.resources) {
  try {
    const read = await resource.read({ relations: true, keyed: true });
    rows += read.length;
  } catch (error) {
    check(false, `${directory}: ${resource.name}: ${error.message} ${(error.errors ?? []).slice(0, 3)}`);
  }
}
console.log(`${directory}: ${found.resources.length} tables, ${rows} rows`);
finish();
