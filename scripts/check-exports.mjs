// Fails when a public name of the library has no doc comment, or when the public door is not a list written by hand.
import { dirname, join, relative } from 'node:path';
import { fileURLToPath } from 'node:url';
import ts from 'typescript';

const root = dirname(dirname(fileURLToPath(import.meta.url)));
const core = join(root, 'packages', 'core');
const entry = join(core, 'src', 'index.ts');

const { config } = ts.readConfigFile(join(core, 'tsconfig.json'), ts.sys.readFile);
const { options } = ts.parseJsonConfigFileContent(config, ts.sys, core);
const program = ts.createProgram([entry], options);
const checker = program.getTypeChecker();
const source = program.getSourceFile(entry);
const faults = [];

for (const statement of source.statements) {
  if (!ts.isExportDeclaration(statement)) {
    faults.push(`${at(statement)}: the public door holds only lists of names; found "${firstLine(statement)}"`);
  } else if (!statement.exportClause || !ts.isNamedExports(statement.exportClause)) {
    faults.push(`${at(statement)}: "${firstLine(statement)}"; list every public name by hand`);
  }
}
const exported = checker.getExportsOfModule(checker.getSymbolAtLocation(source) ?? fail('index.ts exports nothing'));
for (const symbol of exported) {
  const target = symbol.flags & ts.SymbolFlags.Alias ? checker.getAliasedSymbol(symbol) : symbol;
  const declaration = target.declarations?.[0];
  if (!declaration) faults.push(`"${symbol.name}" leads nowhere`);
  else if (target.getDocumentationComment(checker).length === 0) {
    faults.push(`${at(declaration)}: "${symbol.name}" is public and has no doc comment`);
  }
}
if (faults.length > 0) fail(faults.join('\n'));
process.stdout.write(`${exported.length} public names, all documented\n`);

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
