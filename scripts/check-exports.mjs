// Fails when a public name of the library has no doc comment, or when a public door is not a list written by hand. What a
// small door gives has to be what the large one, index.ts, gives by the same name.
import { readFileSync } from 'node:fs';
import { dirname, join, relative } from 'node:path';
import { fileURLToPath } from 'node:url';
import ts from 'typescript';

const root = dirname(dirname(fileURLToPath(import.meta.url)));
const core = join(root, 'packages', 'core');
const { exports } = JSON.parse(readFileSync(join(core, 'package.json'), 'utf8'));
const sources = Object.values(exports).flatMap(({ source }) => source ?? []);
const [entry, ...small] = sources.map((source) => join(core, source));

const { config } = ts.readConfigFile(join(core, 'tsconfig.json'), ts.sys.readFile);
const { options } = ts.parseJsonConfigFileContent(config, ts.sys, core);
const program = ts.createProgram([entry, ...small], options);
const checker = program.getTypeChecker();
const faults = [];

const names = namesOf(entry);
for (const [name, declaration] of names) {
  if (!declaration) faults.push(`"${name}" leads nowhere`);
  else if (targetOf(declaration.symbol).getDocumentationComment(checker).length === 0) {
    faults.push(`${at(declaration)}: "${name}" is public and has no doc comment`);
  }
}
for (const door of small) {
  for (const [name, declaration] of namesOf(door)) {
    if (!declaration || names.get(name) !== declaration)
      faults.push(`${relative(root, door)}: "${name}" is not what index.ts gives by that name`);
  }
}
if (faults.length > 0) fail(faults.join('\n'));
process.stdout.write(`${names.size} public names, all documented; ${small.length} small doors give some of them\n`);

/** The names that a door lists, each with its declaration. */
function namesOf(door) {
  const source = program.getSourceFile(door);
  for (const statement of source.statements) {
    if (!ts.isExportDeclaration(statement)) {
      faults.push(`${at(statement)}: a public door holds only lists of names; found "${firstLine(statement)}"`);
    } else if (!statement.exportClause || !ts.isNamedExports(statement.exportClause)) {
      faults.push(`${at(statement)}: "${firstLine(statement)}"; list every public name by hand`);
    }
  }
  const module = checker.getSymbolAtLocation(source) ?? fail(`${relative(root, door)} exports nothing`);
  return new Map(checker.getExportsOfModule(module).map((symbol) => [symbol.name, targetOf(symbol).declarations?.[0]]));
}

function targetOf(symbol) {
  return symbol.flags & ts.SymbolFlags.Alias ? checker.getAliasedSymbol(symbol) : symbol;
}

function at(node) {
  const file = node.getSourceFile();
  const { line } = file.getLineAndCharacterOfPosition(node.getStart());
  return `${relative(root, file.fileName)}:${line + 1}`;
}

function firstLine(node) {
  return node.getText().split('\n')[0];
}

function fail(text) {
  process.stderr.write(`${text}\n`);
  process.exit(1);
}
