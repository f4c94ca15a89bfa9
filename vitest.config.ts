import { defineConfig } from 'vitest/config';
import { BaseSequencer, type TestSpecification } from 'vitest/node';

/** Files that take longest, longest first: begun last, one of them would keep one core busy and the others idle. */
const LONGEST = [
  'core/test/stitch',
  'core/test/check-look',
  'core/test/fine-pattern',
  'cli/src/commands/stitch',
  'core/test/transients',
  'core/test/where',
  'core/test/guide',
  'core/test/report',
  'core/src/plate/limb-model',
  'core/test/turned-passes',
  'core/src/plan/schedule',
  'core/src/placement/limb-accuracy',
];

class LongestFirst extends BaseSequencer {
  override async sort(files: TestSpecification[]): Promise<TestSpecification[]> {
    const rank = ({ moduleId }: TestSpecification): number => {
      const at = LONGEST.findIndex((name) => moduleId.endsWith(`/packages/${name}.test.ts`));
      return at < 0 ? LONGEST.length : at;
    };
    return (await super.sort(files)).sort((a, b) => rank(a) - rank(b));
  }
}

export default defineConfig({
  resolve: { conditions: ['source'] },
  ssr: { resolve: { conditions: ['source'] } },
  test: {
    include: ['packages/*/src/**/*.test.ts', 'packages/*/test/**/*.test.ts'],
    testTimeout: 120_000,
    hookTimeout: 300_000,
    maxWorkers: 2,
    // Each worker loads the library once: a test file leaves no state behind.
    isolate: false,
    sequence: { sequencer: LongestFirst },
    onConsoleLog: () => {
      throw new Error('the library and its tests never print');
    },
  },
});
