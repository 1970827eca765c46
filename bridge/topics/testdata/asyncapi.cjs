// Checks an AsyncAPI document with the parser of its makers. usage: node asyncapi.cjs FILE
const { readFileSync } = require('fs');
const { Parser } = require('@asyncapi/parser');

(async () => {
  const { document, diagnostics } = await new Parser().parse(readFileSync(process.argv[2], 'utf8'));
  const bad = diagnostics.filter((d) => d.severity < 2); // 0 errors, 1 warnings; what is above only informs
  for (const d of bad) console.error(d.severity === 0 ? 'error' : 'warning', d.code, d.path.join('.'), d.message);
  if (bad.length > 0 || !document) process.exit(1);
  console.log(`${document.channels().all().length} channels, ${document.operations().all().length} operations, version ${document.info().version()}`);
})();
