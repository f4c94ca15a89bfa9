import sharp from 'sharp';

// One thread per decode: frames are decoded side by side. No cache: it goes by file name and would give the old pixels
// of a file that has been replaced.
sharp.concurrency(1);
sharp.cache(false);

/** The library that decodes and encodes pictures, set up once for the whole process. */
export const pictures: typeof sharp = sharp;
