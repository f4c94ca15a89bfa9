import { hostname } from 'node:os';

/** Says in a name which process on which machine something belongs to: `PID,HOST`, without a further comma or a slash. */
export function ownerLabel(): string {
  return `${process.pid},${hostLabel()}`;
}

/**
 * Whether the process of such a label has ended. False while it may be alive: this process, one that runs on this machine,
 * and any on another machine, which cannot be looked for.
 */
export function hasEnded({ pid, host }: { readonly pid: number; readonly host: string }): boolean {
  return host === hostLabel() && pid !== process.pid && !isAlive(pid);
}

/** Whether a label is that of this process, or of one that had its number before. */
export function isOwnLabel({ pid, host }: { readonly pid: number; readonly host: string }): boolean {
  return host === hostLabel() && pid === process.pid;
}

function isAlive(pid: number): boolean {
  try {
    process.kill(pid, 0);
    return true;
  } catch (error) {
    return (error as NodeJS.ErrnoException).code === 'EPERM';
  }
}

function hostLabel(): string {
  return encodeURIComponent(hostname()).replaceAll(',', '%2C');
}
