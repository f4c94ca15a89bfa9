import { UsageError } from '@plenilune/core/errors';

/** By fields that the library may find fault with, the options that stand for them. */
export type OptionOf = Readonly<Record<string, string>>;

/** Does the work; where it finds fault with a field, the message names the option that stands for it as well. */
export async function inOptions<T>(optionOf: OptionOf, work: () => T | Promise<T>): Promise<T> {
  try {
    return await work();
  } catch (error) {
    throw withOption(error, optionOf);
  }
}

function withOption(error: unknown, optionOf: OptionOf): unknown {
  if (!(error instanceof UsageError)) return error;
  const [, field, rest] = /^([\w.]+)( is .*)$/s.exec(error.message) ?? [];
  const option = optionOf[field ?? ''];
  if (field === undefined || option === undefined) return error;
  return new UsageError(`${option === `--${field}` ? option : `${option} (${field})`}${rest}`, { cause: error });
}
