import { type Html, html, type Part } from './html.js';
import { count, decimals, megabytes, percent } from './numbers.js';
import { REASON_WORDS } from './reason-words.js';
import type { ReportInput } from './report-types.js';
import { facts, numbers, section, table } from './table.js';

/** What is not in the plate, and why. */
export function leftOutSection({ sidecar: { leftOut } }: ReportInput): Html {
  if (leftOut.length === 0) return section('left-out', 'Left out', html`<p>Nothing was left out.</p>`);
  const reasons = [...new Set(leftOut.map(({ reason }) => reason))];
  const summary = reasons.map((reason) => [
    reason,
    leftOut.filter((loss) => loss.reason === reason).length,
    REASON_WORDS[reason] ?? '',
  ]);
  return section(
    'left-out',
    'Left out',
    table('Reasons', ['Reason', numbers('How many'), 'What it means'], summary),
    details(
      `Each one (${leftOut.length})`,
      table(
        'What was left out',
        ['Item', 'Reason', 'Figures that decided it'],
        leftOut.map(({ item, reason, detail }) => [item, reason, detail]),
      ),
    ),
  );
}

/** What was used all the same, but is worth knowing. */
export function noticeSection({ sidecar: { notices } }: ReportInput): Html {
  if (notices.length === 0) return section('notices', 'Notices', html`<p>None.</p>`);
  const rows = notices.map(({ item, reason, detail }) => [item, reason, detail]);
  return section('notices', 'Notices', table('Notices', ['Item', 'Kind', 'What is odd'], rows));
}

/** How the plate was made. */
export function settingsSection({ sidecar }: ReportInput): Html {
  const { settings, light, software, capture, passes, plate } = sidecar;
  const rows: (readonly [string, Part])[] = [
    ['Encoding of the frames', settings.curve === 'auto' ? 'as the settings or the files say' : settings.curve],
    ['Light, tint and sky kept from', light.referencePass],
    ['Left by the model of light', `${percent(light.residual, 2)}, robust spread`],
    [
      'Dust shadows',
      light.fine.measured ? `undone, the deepest ${percent(light.fine.deepest)}` : 'not measured: too little drift',
    ],
    ['Levels that strips were joined over', light.blendLevels],
    ['Sensor pixels mended', passes.map(({ name, defects }) => `${name} ${defects}`).join(', ')],
    ['Guide', capture.guide ? capture.guide.item : 'none'],
    [
      'Calibration',
      capture.calibration.length === 0
        ? 'none'
        : capture.calibration
            .map(({ kind, files }) => `${count(files.length, `${kind} frame`, `${kind} frames`)}`)
            .join(', '),
    ],
    [
      'Master',
      `16 bits, ${plate.encoding}, primaries ${plate.primaries}, alpha is the coverage${plate.alpha === 'coverage' ? '' : ' times the matte'}, ${megabytes(plate.bytes)}${plate.bigtiff ? ', BigTIFF' : ''}`,
    ],
    ['Samples clipped on writing', `${plate.clippedLow} at black, ${plate.clippedHigh} at white`],
    ['Preview', `brightened ${decimals(sidecar.preview.gain, 2)} times`],
    ['Software', html`${software.name} ${software.version}, code <code>${software.code}</code>`],
  ];
  return section('settings', 'Settings', facts(rows));
}

/** Every file with its hash. */
export function fileSection({ sidecar, sidecarFile }: ReportInput): Html {
  const { files, capture, passes } = sidecar;
  // Tiles lie in folders of their own, by the thousand.
  const tiles = files.filter(({ file }) => /[\\/]/.test(file)).length;
  const whole = files.filter(({ file }) => !/[\\/]/.test(file));
  const made = [...whole, sidecarFile].map(({ file, sha256 }) => [file, hash(sha256)]);
  const used = [
    ...passes.flatMap((pass) => pass.frames.map(({ file, sha256 }) => [file, hash(sha256)])),
    ...capture.calibration.flatMap(({ files }) => files.map(({ file, sha256 }) => [file, hash(sha256)])),
    ...(capture.guide ? [[capture.guide.item, hash(capture.guide.sha256)]] : []),
  ];
  return section(
    'files',
    'Files',
    html`<p class="note">The sidecar ${sidecarFile.file} holds every figure of this report, and more.</p>`,
    table('Files of the plate', ['Made', 'SHA-256'], made),
    tiles === 0 ? '' : html`<p class="note">Besides, ${tiles} tiles; their hashes are in the sidecar.</p>`,
    details(`Frames and other pictures used (${used.length})`, table('Files used', ['Used', 'SHA-256'], used)),
  );
}

function hash(sha256: string): Html {
  return html`<code>${sha256}</code>`;
}

function details(summary: string, body: Html): Html {
  return html`<details><summary>${summary}</summary>${body}</details>`;
}
