import { type Document, isAlias, isNode, Lexer, LineCounter, type Node, parseDocument, visit } from 'yaml';
import type { SettingsFault } from './settings-fault.js';

/** Nodes of a YAML text, and where they stand in it. */
export interface YamlTree {
  /** `undefined` when the text holds nothing, or is not fit to be looked into. */
  readonly root: Node | undefined;
  readonly faults: readonly SettingsFault[];
  /** Line and column, from 1, of a node. */
  at(node: Node): { readonly line: number; readonly column: number };
}

/**
 * Parses one document of YAML 1.2 with its core schema. Aliases, tags, other versions of YAML and deep nesting are faults:
 * settings need none of them, and each can make a small text cost much or mean something else than it shows.
 */
export function parseYaml(text: string): YamlTree {
  const lines = new LineCounter();
  const place = (offset: number): { line: number; column: number } => {
    const { line, col } = lines.linePos(offset);
    return { line: Math.max(1, line), column: Math.max(1, col) };
  };
  const at = (node: Node): { line: number; column: number } => place(node.range?.[0] ?? 0);
  const deep = findDeepNesting(text);
  if (deep !== undefined) return { root: undefined, faults: [deep], at };

  const document = parseDocument(text, {
    version: '1.2',
    schema: 'core',
    merge: false,
    resolveKnownTags: false,
    prettyErrors: false,
    logLevel: 'error',
    lineCounter: lines,
  });
  // A repeated field is a fault of its own; after any other the tree is a guess.
  const broken = document.errors.some(({ code }) => code !== 'DUPLICATE_KEY');
  const found = [...document.errors, ...document.warnings].map(({ code, pos, message }) => ({
    ...place(pos[0]),
    message: REWORDED[code] ?? `${message.charAt(0).toLowerCase()}${message.slice(1)}`,
  }));
  const root = broken ? undefined : (document.contents ?? undefined);
  return { root, faults: [...found, ...(root === undefined ? [] : findForeign(document, at))], at };
}

const REWORDED: Readonly<Record<string, string>> = {
  DUPLICATE_KEY: 'this field is given twice; keep one of them',
  TAB_AS_INDENT: 'a tab begins the line; YAML is indented with spaces',
  MULTIPLE_DOCS: 'a second document begins here; settings are one document',
  TAG_RESOLVE_FAILED: 'this tag is not understood; settings need none',
};

/** What the parser accepts and settings do without. */
function findForeign(document: Document, at: YamlTree['at']): SettingsFault[] {
  const faults: SettingsFault[] = [];
  const { yaml } = document.directives ?? {};
  if (yaml?.explicit && yaml.version !== '1.2') {
    faults.push({
      line: 1,
      column: 1,
      message: `this is YAML ${yaml.version}; settings are YAML 1.2: remove the line`,
    });
  }
  visit(document, (_, node) => {
    if (!isNode(node)) return;
    if (isAlias(node)) faults.push({ ...at(node), message: `*${node.source} repeats another place; write it out` });
    else if (node.tag !== undefined && document.warnings.length === 0) {
      faults.push({
        ...at(node),
        message: 'this has a tag, which settings need none of; put a text in quotes instead',
      });
    }
  });
  return faults;
}

/** Brackets within brackets, and dashes within dashes on one line, that settings could ever need. */
const DEEPEST = 8;

/** Nesting beyond any use, found before the tree is built: a deep tree exhausts the stack of whoever walks it. */
function findDeepNesting(text: string): SettingsFault | undefined {
  let line = 1;
  let brackets = 0;
  let dashes = 0;
  for (const token of new Lexer().lex(text)) {
    if (token === '[' || token === '{') brackets++;
    else if (token === ']' || token === '}') brackets--;
    else if (token === '-' || token === '?') dashes++;
    const breaks = token.split('\n').length - 1;
    line += breaks;
    if (breaks > 0) dashes = 0;
    if (brackets > DEEPEST || dashes > DEEPEST)
      return { line, column: 1, message: 'this is nested deeper than settings ever are' };
  }
  return undefined;
}
