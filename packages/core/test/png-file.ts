/** A PNG with one more chunk straight after its header. */
export function withChunk(png: Buffer, type: string, data: Buffer): Buffer {
  const afterHeader = 8 + 25;
  const body = Buffer.concat([Buffer.from(type, 'latin1'), data]);
  const length = Buffer.alloc(4);
  length.writeUInt32BE(data.length);
  const check = Buffer.alloc(4);
  check.writeUInt32BE(crc32(body));
  return Buffer.concat([png.subarray(0, afterHeader), length, body, check, png.subarray(afterHeader)]);
}

/** PNG specification, third edition, annex D. */
function crc32(bytes: Buffer): number {
  let crc = 0xffffffff;
  for (const byte of bytes) {
    crc ^= byte;
    for (let i = 0; i < 8; i++) crc = crc & 1 ? (crc >>> 1) ^ 0xedb88320 : crc >>> 1;
  }
  return (crc ^ 0xffffffff) >>> 0;
}
