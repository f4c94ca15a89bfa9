/** Containers that are read, by FFmpeg's names: files of one clip, never lists, scripts, devices or addresses of others. */
export const CONTAINERS = 'mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,avi,mxf,yuv4mpegpipe,mpegts,mpeg,nut';
/** Packets between two signs of life. */
export const SILENT_PACKETS = 500;
/** In `ffprobe`'s flags of a packet: it is only there to decode others from. */
export const DISCARDED_MARK = 'D';
