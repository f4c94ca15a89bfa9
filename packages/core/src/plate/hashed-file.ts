/** A file with what identifies its content. */
export interface HashedFile {
  /** Path relative to the capture, or to the folder of the sidecar, with forward slashes. */
  readonly file: string;
  readonly sha256: string;
}
