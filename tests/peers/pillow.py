#!/usr/bin/python3
"""Pictures drawn and decoded by Pillow, which knows nothing of the product.

  pillow.py draw FOLDER      draws one picture in many formats and modes, by seed; Adam7 PNG, which Pillow does not write, is written here by
                             ISO/IEC 15948 section 8.2.
  pillow.py pixels FILE...   one JSON object a line: size, mode (L or RGB), SHA-256 of the samples, upright by the file's own Exif orientation.
  pillow.py compare A B      mean and greatest difference of the samples of two pictures, each upright by its own Exif orientation.
"""
import hashlib
import json
import os
import random
import struct
import sys
import zlib

from PIL import Image, ImageCms, ImageOps

WIDTH, HEIGHT = 61, 47
ADAM7 = ((0, 0, 8, 8), (4, 0, 8, 8), (0, 4, 4, 8), (2, 0, 4, 4), (0, 2, 2, 4), (1, 0, 2, 2), (0, 1, 1, 2))


def upright(path):
    image = ImageOps.exif_transpose(Image.open(path))
    return image.convert("L" if image.mode in ("1", "L", "LA") else "RGB")


def chunk(kind, data):
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def interlaced(image, path):
    """RGB, 8 bits, each pass with filter 0."""
    raw = b""
    for x0, y0, dx, dy in ADAM7:
        for y in range(y0, image.height, dy):
            raw += b"\0" + b"".join(bytes(image.getpixel((x, y))) for x in range(x0, image.width, dx))
    with open(path, "wb") as file:
        file.write(b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">IIBBBBB", image.width, image.height, 8, 2, 0, 0, 1))
                   + chunk(b"IDAT", zlib.compress(raw)) + chunk(b"IEND", b""))


def draw(folder):
    source = random.Random(20261125)
    rgb = Image.new("RGB", (WIDTH, HEIGHT))
    rgb.putdata([(x * 4, y * 5, source.randrange(256)) for y in range(HEIGHT) for x in range(WIDTH)])
    grey = rgb.convert("L")
    opaque, clear = rgb.convert("RGBA"), rgb.convert("RGBA")
    clear.putpixel((30, 20), (1, 2, 3, 254))

    def save(image, name, **how):
        image.save(os.path.join(folder, name), **how)

    save(rgb, "rgb.png")
    save(grey, "grey.png")
    save(grey.convert("1"), "one-bit.png")
    save(grey.quantize(16), "palette-4-bit.png", bits=4)
    save(rgb.quantize(200), "palette.png")
    save(rgb.quantize(200), "palette-transparent.png", transparency=0)
    save(opaque, "alpha-opaque.png")
    save(clear, "alpha-clear.png")
    save(grey.convert("LA"), "grey-alpha-opaque.png")
    save(Image.new("I;16", (9, 9), 300), "16-bit.png")
    save(rgb, "profile.png", icc_profile=ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    save(rgb, "animated.png", save_all=True, append_images=[ImageOps.invert(rgb)])
    interlaced(rgb, os.path.join(folder, "interlaced.png"))
    save(rgb, "rgb.bmp")
    save(grey, "grey.bmp")
    save(rgb.quantize(100), "palette.bmp")
    save(opaque, "alpha-opaque.bmp")
    save(clear, "alpha-clear.bmp")
    save(rgb, "lossless.webp", lossless=True)
    save(clear, "alpha-clear.webp", lossless=True, exact=True)
    save(rgb, "lossy.webp", quality=80)
    save(rgb, "animated.webp", save_all=True, append_images=[ImageOps.invert(rgb)], lossless=True)
    save(rgb, "rgb.tif")
    save(rgb, "rgb.gif")
    save(rgb, "rgb.jp2")
    save(rgb.convert("CMYK"), "cmyk.jpg")
    for orientation in range(1, 9):
        exif = Image.Exif()
        exif[274] = orientation
        save(rgb, f"turned-{orientation}.png", exif=exif)
        save(grey, f"grey-turned-{orientation}.png", exif=exif)
        save(rgb, f"turned-{orientation}.webp", exif=exif, lossless=True)


def pixels(paths):
    for path in paths:
        image = upright(path)
        print(json.dumps({"path": path, "columns": image.width, "rows": image.height, "mode": image.mode,
                          "sha256": hashlib.sha256(image.tobytes()).hexdigest()}))


def compare(one, other):
    a, b = upright(one), upright(other)
    same = a.size == b.size and a.mode == b.mode
    differences = [abs(x - y) for x, y in zip(a.tobytes(), b.tobytes())] if same else [255]
    print(json.dumps({"same": same, "mean": sum(differences) / len(differences), "greatest": max(differences)}))


command, *arguments = sys.argv[1:]
{"draw": lambda: draw(arguments[0]), "pixels": lambda: pixels(arguments), "compare": lambda: compare(*arguments)}[command]()
