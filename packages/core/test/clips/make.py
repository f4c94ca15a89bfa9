"""Makes the clips of this folder: a 16-bit ramp from black to white across 1920 px, recorded by several codecs without
dither, and 12 pictures whose upper rows tell their number. Needs numpy and FFmpeg with libx265. Run it in this folder."""
import subprocess
import numpy as np

WIDTH, HEIGHT = 1920, 32
v = np.linspace(0, 65535, WIDTH).round() / 65535
TOLD = '-color_range tv -colorspace bt709 -color_primaries bt709 -color_trc bt709'.split()


def encode(name, pixel_format, raw, options, size=(WIDTH, HEIGHT), told=TOLD):
    source = f'-y -v error -f rawvideo -pix_fmt {pixel_format} -s {size[0]}x{size[1]} -r 24 -i -'.split()
    subprocess.run(['ffmpeg', *source, *told, *options.split(), name], input=raw, check=True)


def ten_bit(across, down):
    luma = np.repeat(np.round(64 + 876 * v).astype('<u2')[None, :], HEIGHT, 0)
    difference = np.full((HEIGHT // down, WIDTH // across), 512, '<u2')
    return luma.tobytes() + difference.tobytes() * 2


encode('ffv1.mkv', 'yuv422p10le', ten_bit(2, 1), '-c:v ffv1 -level 3')
encode('prores.mov', 'yuv422p10le', ten_bit(2, 1), '-c:v prores_ks -profile:v 3 -qscale:v 1')
encode('hevc.mp4', 'yuv420p10le', ten_bit(2, 2), '-c:v libx265 -x265-params lossless=1:log-level=none')
rgb = np.repeat((v * 65535).round().astype('<u2')[None, :, None], HEIGHT, 0)
encode('gbr16.mkv', 'rgb48le', np.repeat(rgb, 3, 2).tobytes(), '-pix_fmt gbrp16le -c:v ffv1', told=[])
random = np.random.default_rng(1)
numbers = b''
for i in range(12):
    luma = np.full((64, 64), 20 + 10 * i, 'u1')
    luma[16:] += random.integers(0, 16, (48, 64), 'u1')
    numbers += luma.tobytes() + bytes([128]) * 2048
encode('numbers.mkv', 'yuv420p', numbers, '-c:v ffv1 -level 3 -g 1 -slices 4 -slicecrc 1', (64, 64))
encode('numbers.mp4', 'yuv420p', numbers, '-c:v libx264 -qp 0 -bf 2 -movflags +faststart', (64, 64))
