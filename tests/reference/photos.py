"""Writes tests/reference/photos/*: small pictures with what cameras and programs write beside a picture. All of it is invented.

    python3 -m venv "$VENV" && "$VENV"/bin/pip install pillow==13.0.0
    "$VENV"/bin/python tests/reference/photos.py write tests/reference/photos
    "$VENV"/bin/python tests/reference/photos.py compare tests/reference/photos target/tmp/stripped

"compare" is the judge of what `cargo test --test photo` left in target/tmp/stripped: another program (Pillow, with libjpeg and
zlib) must decode every stripped picture to the very pixels of its original, the same way up, and find nothing beside them.
"""

import io
import struct
import sys
from pathlib import Path

from PIL import Image, ImageCms, ImageOps, PngImagePlugin

# A point in a lake, and words that must not come through.
PLACE = {1: "N", 2: (44.0, 36.0, 43.2), 3: "W", 4: (74.0, 57.0, 0.0), 29: "2026:10:05"}
WORDS = {0x010F: "INVENTED MAKER", 0x0110: "INVENTED MODEL", 0x0132: "2026:10:05 10:00:00", 0x8298: "INVENTED PERSON"}


def picture(mode="RGB"):
    """A slope with a corner of its own, so that every turn of it looks different."""
    made = Image.new("RGB", (48, 32))
    made.putdata([(x * 5, y * 7, 250 if x < 12 and y < 8 else 40) for y in range(32) for x in range(48)])
    return made.convert(mode)


def notes(orientation):
    exif = Image.Exif()
    exif.update(WORDS)
    exif[0x0112] = orientation
    exif.get_ifd(0x8825).update(PLACE)
    return exif


def write(folder):
    folder.mkdir(parents=True, exist_ok=True)
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    second = io.BytesIO()
    picture("L").save(second, "JPEG")
    for turn in range(1, 9):
        name = folder / f"place-{turn}.jpg"
        picture().save(name, "JPEG", quality=80, exif=notes(turn), icc_profile=profile if turn == 6 else b"", comment=b"INVENTED WORDS")
        if turn == 6:
            # Phones hang a second picture or a film behind the first.
            name.write_bytes(name.read_bytes() + second.getvalue() + b"INVENTED FILM")
    picture().save(folder / "passes.jpg", "JPEG", progressive=True, exif=notes(1))
    picture("L").save(folder / "grey.jpg", "JPEG", dpi=(72, 72))
    picture("CMYK").save(folder / "inks.jpg", "JPEG")
    picture().save(folder / "restarts.jpg", "JPEG", restart_marker_blocks=2)
    said = PngImagePlugin.PngInfo()
    said.add_text("Author", "INVENTED PERSON")
    said.add_itxt("XML:com.adobe.xmp", "INVENTED PLACE 44.6")
    said.add(b"tIME", struct.pack(">HBBBBB", 2026, 10, 5, 10, 0, 0))
    said.add(b"gAMA", struct.pack(">I", 45455))
    picture().save(folder / "place.png", "PNG", pnginfo=said, exif=notes(1), icc_profile=profile)
    palette = picture().quantize(16)
    palette.save(folder / "palette.png", "PNG", transparency=bytes([0, 128, 255]), pnginfo=said)
    picture("RGBA").save(folder / "clear.png", "PNG")
    picture("1").save(folder / "two.png", "PNG")


def compare(originals, stripped):
    names = sorted(p.name for p in originals.iterdir())
    for name in names:
        before, after = Image.open(originals / name), Image.open(stripped / name)
        left = {k: v for k, v in after.info.items() if k not in ("jfif", "jfif_version", "jfif_unit", "jfif_density", "dpi", "gamma", "srgb", "transparency", "adobe", "adobe_transform", "progressive", "progression", "interlace", "exif")}
        tags = dict(after.getexif())
        assert not left, (name, left)
        assert set(tags) <= {0x0112} and not after.getexif().get_ifd(0x8825), (name, tags)
        assert before.mode == after.mode and before.tobytes() == after.tobytes(), name
        assert ImageOps.exif_transpose(before).tobytes() == ImageOps.exif_transpose(after).tobytes(), name
        assert b"INVENTED" not in (stripped / name).read_bytes(), name
        assert not hasattr(after, "text") or not after.text, name
    print(len(names), "pictures: the same pixels, the same way up, nothing beside them")


if __name__ == "__main__":
    what, *folders = sys.argv[1:]
    {"write": write, "compare": compare}[what](*map(Path, folders))
