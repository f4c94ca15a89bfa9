/**
 * The small door `@plenilune/core/defaults`: what is taken where nothing is said, for help texts that are printed before the
 * library is loaded.
 *
 * @packageDocumentation
 */
export { PLAN_DEFAULTS } from './plan/plan-defaults.js';
export { REHEARSAL_DEFAULTS } from './rehearsal/settings.js';
