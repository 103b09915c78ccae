#!/usr/bin/python3
"""Independent judges over files, one JSON object a line on standard output.

  judge.py objects FILE...   Part 10 files: read by pydicom and by GDCM, checked by dciodvfy (its lines that begin with "Error" are counted, since its
                             exit status is not reliable), and the SHA-256 of the JPEG scan inside, from the first SOS marker to the EOI marker.
  judge.py pictures FILE...  JPEG files: what kind they are by their own marker segments, whether Pillow decodes them whole, and the same SHA-256.
  judge.py compare OBJECT PICTURE...  pairs: the samples of the object's first frame against those of the camera's picture, turned upright by its Exif
                             orientation, both decoded by Pillow: mean and greatest difference.
  A list of files may also come on standard input, one a line, with '-' in place of FILE.

Nothing of the product is used here: it reads the standards' formats with other people's libraries, and JPEG markers (ITU-T T.81 Annex B) by itself.
"""
import hashlib
import io
import json
import struct
import subprocess
import sys
import warnings

warnings.simplefilter("ignore")


def walk(data):
    """The marker segments of a JPEG stream (T.81 B.1.1): yields (marker, offset, payload offset, payload end); entropy-coded data is passed over."""
    at = 2
    while at + 2 <= len(data):
        if data[at] != 0xFF:
            at += 1
            continue
        marker = data[at + 1]
        if marker == 0xFF:
            at += 1
            continue
        if marker in (0x00, 0x01) or 0xD0 <= marker <= 0xD8:
            at += 2
            continue
        if marker == 0xD9:
            yield marker, at, at + 2, at + 2
            return
        if at + 4 > len(data):
            return
        length = struct.unpack(">H", data[at + 2:at + 4])[0]
        yield marker, at, at + 4, at + 2 + length
        at += 2 + length


def describe(data):
    facts = {"sof": None, "components": 0, "bits": 0, "rows": 0, "columns": 0, "adobe": None, "jfif": False, "orientation": 1, "scans": 0,
             "eoi": False, "scan_sha256": None, "icc": 0, "ids": [], "sampling": []}
    first_scan = None
    for marker, at, start, end in walk(data):
        payload = data[start:end]
        if marker in (0xC0, 0xC1, 0xC2, 0xC3, 0xC5, 0xC6, 0xC7, 0xC9, 0xCA, 0xCB, 0xCD, 0xCE, 0xCF) and len(payload) >= 6 and first_scan is None:
            facts["sof"] = marker - 0xC0
            facts["bits"], facts["rows"], facts["columns"], facts["components"] = struct.unpack(">BHHB", payload[:6])
            facts["ids"] = [payload[6 + 3 * k] for k in range(facts["components"]) if len(payload) > 6 + 3 * k]
            facts["sampling"] = [payload[7 + 3 * k] for k in range(facts["components"]) if len(payload) > 7 + 3 * k]
        elif marker == 0xE0 and payload[:5] == b"JFIF\0":
            facts["jfif"] = True
        elif marker == 0xEE and payload[:5] == b"Adobe" and len(payload) >= 12:
            facts["adobe"] = payload[11]
        elif marker == 0xE2 and payload[:12] == b"ICC_PROFILE\0":
            facts["icc"] += 1
        elif marker == 0xDA:
            facts["scans"] += 1
            first_scan = at if first_scan is None else first_scan
        elif marker == 0xD9:
            facts["eoi"] = True
            if first_scan is not None:
                facts["scan_sha256"] = hashlib.sha256(data[first_scan:end]).hexdigest()
    return facts


def picture(path):
    from PIL import Image
    Image.MAX_IMAGE_PIXELS = None
    with open(path, "rb") as file:
        data = file.read()
    facts = describe(data) if data[:2] == b"\xff\xd8" else {"sof": None, "scan_sha256": None}
    facts.update(path=path, size=len(data), jpeg=data[:2] == b"\xff\xd8")
    try:
        image = Image.open(io.BytesIO(data))
        try:
            exif = image.getexif()
            facts["orientation"] = exif.get(274, 1)
            # DateTimeOriginal, else DateTimeDigitized, else DateTime (Exif 2.32, 4.6.5 and 4.6.8): the day alone.
            detail = exif.get_ifd(0x8769)
            facts["taken"] = str(detail.get(36867) or detail.get(36868) or exif.get(306) or "")
        except Exception as error:  # a broken EXIF block says nothing about the picture
            facts["exif_error"] = type(error).__name__
        if image.info.get("icc_profile"):
            from PIL import ImageCms
            try:
                facts["profile"] = ImageCms.getProfileDescription(ImageCms.ImageCmsProfile(io.BytesIO(image.info["icc_profile"]))).strip()
            except Exception as error:  # a broken profile says nothing about the picture
                facts["profile_error"] = type(error).__name__
        image.load()
        facts["decodes"] = True
        facts["mode"] = image.mode
    except Exception as error:
        facts["decodes"] = False
        facts["why"] = str(error)[:80]
    # libjpeg decodes what it can of damaged data and says so; Pillow hides that.
    told = subprocess.run(["djpeg", "-outfile", "/dev/null", path], capture_output=True, check=False)
    facts["djpeg"] = told.stderr.decode("utf-8", "replace").strip()
    return facts


def dicom(path):
    import gdcm
    import pydicom
    from pydicom.encaps import generate_pixel_data_frame
    facts = {"path": path}
    try:
        data_set = pydicom.dcmread(path)
        for keyword in ("SOPClassUID", "SOPInstanceUID", "StudyInstanceUID", "SeriesInstanceUID", "PatientID", "AccessionNumber", "Modality",
                        "PhotometricInterpretation", "LossyImageCompression", "InstanceNumber", "Rows", "Columns"):
            facts[keyword] = str(data_set.get(keyword, ""))
        facts["PatientName"] = str(data_set.get("PatientName", ""))
        facts["TransferSyntaxUID"] = str(data_set.file_meta.TransferSyntaxUID)
        facts["ImageType"] = "\\".join(data_set.get("ImageType", []))
        facts["LossySteps"] = data_set["LossyImageCompressionMethod"].VM if "LossyImageCompressionMethod" in data_set else 0
        if data_set.file_meta.TransferSyntaxUID.is_compressed:
            frames = list(generate_pixel_data_frame(data_set.PixelData, 1))
            facts["frames"] = len(frames)
            facts["bitstream"] = describe(frames[0])
            facts["scan_sha256"] = facts["bitstream"]["scan_sha256"]
        else:
            facts["frames"] = len(data_set.PixelData) // (data_set.Rows * data_set.Columns * data_set.SamplesPerPixel)
            facts["scan_sha256"] = None
        # Walking every element makes pydicom read every value.
        facts["elements"] = sum(1 for _ in data_set.iterall())
        facts["pydicom"] = "ok"
    except Exception as error:
        facts["pydicom"] = f"{type(error).__name__}: {error}"[:200]
    reader = gdcm.ImageReader()
    reader.SetFileName(path)
    if reader.Read():
        image = reader.GetImage()
        facts["gdcm"] = "ok"
        facts["gdcm_size"] = [image.GetDimension(0), image.GetDimension(1)]
    else:
        facts["gdcm"] = "cannot read"
    told = subprocess.run(["dciodvfy", "-new", path], capture_output=True, check=False)
    lines = (told.stdout + told.stderr).replace(b"\0", b"").decode("utf-8", "replace").splitlines()
    facts["dciodvfy_errors"] = [line for line in lines if line.startswith("Error")]
    facts["dciodvfy_warnings"] = [line for line in lines if line.startswith("Warning")]
    facts["iod"] = next((line for line in lines if not line.startswith(("Error", "Warning"))), "")
    return facts


def compare(path, photograph):
    import numpy
    import pydicom
    from PIL import Image, ImageOps
    from pydicom.encaps import generate_pixel_data_frame
    Image.MAX_IMAGE_PIXELS = None
    data_set = pydicom.dcmread(path)
    if data_set.file_meta.TransferSyntaxUID.is_compressed:
        ours = numpy.asarray(Image.open(io.BytesIO(next(iter(generate_pixel_data_frame(data_set.PixelData, 1))))))
    else:
        shape = (data_set.Rows, data_set.Columns, 3) if data_set.SamplesPerPixel == 3 else (data_set.Rows, data_set.Columns)
        ours = numpy.frombuffer(data_set.PixelData, numpy.uint8, int(numpy.prod(shape))).reshape(shape)
    image = Image.open(photograph)
    # A multi-picture file's first picture alone; Exif that Pillow gives up is no orientation.
    try:
        image = ImageOps.exif_transpose(image)
    except Exception:
        pass
    theirs = numpy.asarray(image)
    same = ours.shape == theirs.shape
    differences = numpy.abs(ours.astype(int) - theirs.astype(int)) if same else numpy.array([255])
    return {"path": path, "picture": photograph, "same": same, "mean": float(differences.mean()), "greatest": int(differences.max())}


def main():
    if sys.argv[1] == "compare":
        for path, photograph in zip(sys.argv[2::2], sys.argv[3::2]):
            print(json.dumps(compare(path, photograph)), flush=True)
        return
    judge = {"objects": dicom, "pictures": picture}[sys.argv[1]]
    paths = sys.argv[2:]
    if paths == ["-"]:
        paths = [line.rstrip("\n") for line in sys.stdin if line.strip()]
    for path in paths:
        print(json.dumps(judge(path)), flush=True)


main()
