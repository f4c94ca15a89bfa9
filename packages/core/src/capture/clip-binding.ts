import { createRequire } from 'node:module';

/** The part of FFmpeg's libraries, as node-av binds them, that is used here. Calls return 0 or more, or a negative code. */
export interface FfmpegBinding {
  readonly Log: { setLevel(level: number): void };
  readonly Dictionary: new () => { alloc(): void; set(key: string, value: string, flags: number): number };
  readonly FormatContext: new () => FormatContext;
  readonly CodecContext: new () => CodecContext;
  readonly Codec: { findDecoder(id: number): { readonly name: string } | null };
  readonly Packet: new () => Packet;
  readonly Frame: new () => Frame;
  avGetPixFmtName(format: number): string | null;
  avGetCodecName(id: number): string | null;
}

/** What a file says about itself in words. */
interface Metadata {
  getAll(): Readonly<Record<string, string>>;
}

interface Rational {
  readonly num: number;
  readonly den: number;
}

export interface FormatContext {
  readonly streams: readonly Stream[];
  readonly iformat: { readonly name: string };
  /** Millionths of a second. */
  readonly duration: bigint;
  readonly metadata: Metadata | null;
  allocContext(): void;
  openInputSync(url: string, format: null, options: object): number;
  findStreamInfoSync(options: null): number;
  readFrameSync(packet: Packet): number;
}

export interface Stream {
  readonly index: number;
  readonly codecpar: {
    readonly codecType: number;
    readonly codecId: number;
    readonly format: number;
    readonly width: number;
    readonly height: number;
    readonly colorRange: number;
    readonly colorPrimaries: number;
    readonly colorTrc: number;
    readonly colorSpace: number;
    readonly chromaLocation: number;
    toJSON(): { readonly fieldOrder?: number };
    getCodedSideData(type: number): { readonly data: Buffer } | Buffer | null;
  };
  readonly nbFrames: bigint;
  readonly avgFrameRate: Rational;
  readonly timeBase: Rational;
  readonly sampleAspectRatio: Rational;
  readonly disposition: number;
  readonly metadata: Metadata | null;
}

export interface CodecContext {
  threadCount: number;
  pktTimebase: Rational;
  allocContext3(codec: object): void;
  parametersToContext(parameters: object): number;
  open2Sync(codec: object, options: null): number;
  sendPacketSync(packet: Packet | null): number;
  receiveFrameSync(frame: Frame): number;
}

export interface Packet {
  readonly streamIndex: number;
  readonly pts: bigint | null;
  readonly flags: number;
  /** First byte of it in the file, as the container's reader tells it, and its length. */
  readonly pos: bigint;
  readonly size: number;
  alloc(): void;
  unref(): void;
}

export interface Frame {
  width: number;
  height: number;
  format: number;
  readonly bestEffortTimestamp: bigint | null;
  readonly decodeErrorFlags: number;
  readonly flags: number;
  readonly data: readonly Buffer[] | null;
  readonly linesize: readonly number[];
  alloc(): void;
  /** Takes memory for the planes of a frame of its size and format. */
  getBuffer(align: number): number;
  /** Copies the planes of a frame of the same size and format. */
  copy(from: Frame): number;
  unref(): void;
}

/** Loads the libraries, or says why not. They are native code: only to be loaded by a program that may die. */
export function loadBinding(): FfmpegBinding | Error {
  const require = createRequire(import.meta.url);
  const failures: unknown[] = [];
  for (const name of names()) {
    try {
      return require(name) as FfmpegBinding;
    } catch (error) {
      failures.push(error);
    }
  }
  return new Error(`FFmpeg's libraries for ${process.platform} ${process.arch} cannot be loaded: ${failures[0]}`);
}

/** One package a platform, with no script to be run at installing. */
function names(): string[] {
  const name = `@seydx/node-av-${process.platform}-${process.arch}`;
  return process.platform === 'win32' ? [`${name}-msvc`, `${name}-mingw`] : [name];
}
