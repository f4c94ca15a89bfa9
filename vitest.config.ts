import { defineConfig } from 'vitest/config';

export default defineConfig({
  resolve: { conditions: ['source'] },
  ssr: { resolve: { conditions: ['source'] } },
  test: {
    include: ['packages/*/src/**/*.test.ts', 'packages/*/test/**/*.test.ts'],
    testTimeout: 120_000,
    hookTimeout: 300_000,
    maxWorkers: 2,
    onConsoleLog: () => {
      throw new Error('the library and its tests never print');
    },
  },
});
