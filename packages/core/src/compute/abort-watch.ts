/**
 * Watches signals on behalf of many items: once a signal fires, `cancel` is called for every item that still watches it.
 * However many items share a signal, it carries one listener.
 *
 * @returns a function that starts watching and returns the function that ends it
 */
export function createAbortWatch<T>(cancel: (item: T) => void): (signal: AbortSignal, item: T) => () => void {
  const groups = new Map<AbortSignal, { readonly items: Set<T>; readonly onAbort: () => void }>();
  return (signal, item) => {
    const group = groups.get(signal) ?? createGroup(cancel);
    if (group.items.size === 0) {
      groups.set(signal, group);
      signal.addEventListener('abort', group.onAbort, { once: true });
    }
    group.items.add(item);
    return () => {
      group.items.delete(item);
      if (group.items.size > 0) return;
      groups.delete(signal);
      signal.removeEventListener('abort', group.onAbort);
    };
  };
}

function createGroup<T>(cancel: (item: T) => void): { readonly items: Set<T>; readonly onAbort: () => void } {
  const items = new Set<T>();
  const onAbort = (): void => {
    for (const item of items) cancel(item);
  };
  return { items, onAbort };
}
