/** What a clip says of itself, and where its pictures lie. Plain JSON: a program of its own finds it out. */
export interface ClipFacts {
  /** Size of the pictures as decoded. */
  readonly widthPx: number;
  readonly heightPx: number;
  /** FFmpeg's short names. */
  readonly container: string;
  readonly codec: string;
  readonly pixelFormat: string;
  /** Code points of ITU-T H.273: primaries, transfer, matrix; 2 where the clip does not say. */
  readonly primaries: number;
  readonly transfer: number;
  readonly matrix: number;
  /** FFmpeg's: 0 not said, 1 video, 2 full. */
  readonly range: number;
  /** FFmpeg's: 0 not said, 1 left, 2 centre, 3 top left. */
  readonly chromaSite: number;
  /** Clockwise turn by which the pictures are to be shown, degrees: 0, 90, 180, 270. */
  readonly turnDeg: number;
  /** Width of a pixel by its height; 1 is square. */
  readonly pixelAspect: number;
  readonly interlaced: boolean;
  /** Time of each picture, ascending, in units of the file; null where it does not give every one: they count by order, then. */
  readonly times: readonly number[] | null;
  /** Seconds that a unit of `times` is. */
  readonly tick: number;
  /** When the recording began and its time code, as written in the file. */
  readonly created: string | null;
  readonly timeCode: string | null;
  /** Number of pictures that are there, and that the file says there are; 0 where it does not. */
  readonly count: number;
  readonly announced: number;
  /** Where the pictures lie in the file, if it keeps their codes as they are. */
  readonly raw?: RawPictures;
}

/** Pictures whose codes lie in the clip's file without compression. */
export interface RawPictures {
  /** First byte of each picture, by time; null where one is cut short. */
  readonly at: readonly (number | null)[];
  /** How the rows of a picture lie. */
  readonly rows: StoredRows;
}

/** How the rows of a picture's planes lie, one plane after the other. */
export interface StoredRows {
  /** Bytes from a row of each plane to the next. */
  readonly strides: readonly number[];
  /** Whether the first plane begins with its lowest row. */
  readonly lowestFirst: boolean;
}

/** What one picture has to know of its clip. */
export type PictureFacts = Omit<ClipFacts, 'times' | 'raw'>;

/** What the program that decodes is asked for. */
export type ClipRequest =
  | { readonly kind: 'facts'; readonly path: string }
  | {
      readonly kind: 'pictures';
      readonly path: string;
      readonly threads: number;
      readonly facts: ClipFacts;
      /** File, already of its full length, that takes the pictures one after the other by time: planes without gaps. */
      readonly into: string;
    };

/** What it answers, a line of JSON each; any line says that it is alive. */
export type ClipAnswer =
  | { readonly kind: 'facts'; readonly facts: ClipFacts }
  | { readonly kind: 'picture'; readonly index: number; readonly faulty: boolean }
  | { readonly kind: 'alive' }
  /** All is said: what the libraries do while they are unloaded no longer matters. */
  | { readonly kind: 'done' }
  | { readonly kind: 'failure'; readonly message: string };
