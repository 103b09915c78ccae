#!/usr/bin/python3
"""Usage: conformance/run.py PROGRAM [REPORT-FOLDER]: makes objects of every optic through the real flow and has independent programs judge them.

A stick is drawn (cases.json, stick.py); dcmtk's worklist knows the orders, each in its own character set; 'camerabridge once' takes the stick and sends to dcmtk's
receiver, which keeps every byte, and to Orthanc; what is unscheduled is assigned by accession number with 'held assign'. Then each object is judged (judges.py)
and a report is written. The exit code is 0 when every picture became an object and every judge is content. Run it by run.sh, which sees that everything is there.
"""
import concurrent.futures
import datetime
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time

import pydicom

import judges
import peers
import report
import stick

HERE = os.path.dirname(os.path.abspath(__file__))
RUN_LIMIT = 120


def configuration(path, site, ports, device):
    lines = "\n".join(f"      {key}: {value}" for key, value in device.items())
    with open(path, "w", encoding="utf-8") as file:
        file.write(f"""institution:
  name: Hollin Vale Outreach Clinic
  address: 4 Weir Lane, Hollin Vale
  department: Photography
time_zone: Europe/London
spool: {site}/spool
state: {site}/state.db
sources:
  - name: conformance
    folder: {site}/stick
    kind: stick
    station:
      ae_title: CONFCAM1
      name: CONFORMANCE-1
    settle_time: 0 s
    device:
{lines}
labels:
  read: no
worklist:
  host: 127.0.0.1
  port: {ports["worklist"]}
  called_ae_title: CONFWL
destinations:
  - name: receiver
    host: 127.0.0.1
    port: {ports["receiver"]}
    called_ae_title: CONFSTORE
    confirm_by: none
  - name: orthanc
    host: 127.0.0.1
    port: {ports["orthanc"]}
    called_ae_title: CONFORTHANC
    confirm_by: none
""")


def product(program, *arguments):
    done = subprocess.run([program, *arguments], capture_output=True, check=False, stdin=subprocess.DEVNULL, timeout=RUN_LIMIT)
    return done.returncode, done.stdout.decode("utf-8"), done.stderr.decode("utf-8")


def take_stick(program, site, config, cases, missing):
    """once; held assign for what no order was known of; once again."""
    code, said, errors = product(program, "once", f"{site}/stick", "--config", config, "--json")
    if not said:
        raise SystemExit(f"camerabridge once ended with {code}: {errors}")
    for sitting in json.loads(said)["sittings"]:
        number, case = next(((number, case) for number, case in enumerate(cases) if case["folder"] == sitting["folder"]), (None, None))
        if case is not None and case.get("unscheduled"):
            if not sitting["held"]:
                missing.append(f"{case['folder']}: was filed though nothing said whose it is")
            code, _, errors = product(
                program, "held", "assign", str(sitting["sitting"]), "--accession", stick.accession(number), "--say", f"optic={case['optic']}", "--by", "R. Example",
                "--config", config)
            if code != 0:
                missing.append(f"{case['folder']}: held assign ended with {code}: {errors.strip()}")
    code, said, errors = product(program, "once", f"{site}/stick", "--config", config, "--json")
    for sitting in json.loads(said)["sittings"]:
        missing.extend(f"{sitting['folder']}: held: {reason['words']}" for reason in sitting["held"])
        missing.extend(f"{capture['place']}: held: {capture['reason']}" for capture in sitting["held_captures"])
        missing.extend(f"{sitting['folder']}: undelivered to {one['destination']}: {one.get('outcome')}" for one in sitting["deliveries"] if one["undelivered"])


def judge(web, program, site, cases, made, missing):
    archive = f"{site}/archive"
    paths = sorted(os.path.join(archive, name) for name in os.listdir(archive))
    heads = {path: pydicom.dcmread(path, stop_before_pixels=True) for path in paths}
    by_case = {stick.accession(number): case for number, case in enumerate(cases)}
    studies = {}
    for path, head in heads.items():
        studies.setdefault(str(head.StudyInstanceUID), []).append(path)
    copies = f"{site}/labelled"
    os.makedirs(copies)
    with concurrent.futures.ThreadPoolExecutor(2) as workers:
        labelled = {path: judges.labelled_for_old_judges(path, copies) for path in paths}
        conforming = judges.own(program, paths)
        of_dciodvfy = dict(zip(paths, workers.map(judges.dciodvfy, labelled.values())))
        of_gdcm = dict(zip(paths, workers.map(judges.gdcm_reads, labelled.values())))
        alike = {study: judges.dcentvfy([labelled[path] for path in members]) for study, members in studies.items()}
        returned = {uid: content for study in studies for uid, content in judges.wado(web, study).items()}
        pictures = {path: made.get((by_case[str(head.AccessionNumber)]["folder"], int(head.InstanceNumber))) for path, head in heads.items()}
        of_pixels = dict(zip(paths, workers.map(lambda path: judges.pixels(path, pictures[path]), paths)))
    rows = []
    for path in sorted(paths, key=lambda path: (str(heads[path].AccessionNumber), int(heads[path].InstanceNumber))):
        head = heads[path]
        case = by_case[str(head.AccessionNumber)]
        verdicts = {
            "validate": conforming[path],
            "dciodvfy": of_dciodvfy[path],
            "dcentvfy": alike[str(head.StudyInstanceUID)],
            "pydicom": judges.pydicom_reads(head, case["name"]),
            "gdcm": of_gdcm[path],
            "wado": judges.came_back(path, returned.get(str(head.SOPInstanceUID))),
            "pixels": of_pixels[path],
        }
        rows.append({
            "folder": case["folder"],
            "instance_number": int(head.InstanceNumber),
            "optic": case["optic"],
            "kind": "clip" if "Video" in head.SOPClassUID.name else "still",
            "made_of": case["pictures"][int(head.InstanceNumber) - 1]["kind"],
            "odd": case.get("odd", ""),
            "sop_class": "Dermoscopic Photography Image Storage" if str(head.SOPClassUID).endswith("77.1.7") else head.SOPClassUID.name,
            "sop_class_uid": str(head.SOPClassUID),
            "sop_instance_uid": str(head.SOPInstanceUID),
            "transfer_syntax": head.file_meta.TransferSyntaxUID.name,
            "transfer_syntax_uid": str(head.file_meta.TransferSyntaxUID),
            "judges": {name: verdict._asdict() for name, verdict in verdicts.items()},
        })
    found = {(row["folder"], row["instance_number"]) for row in rows}
    missing.extend(f"{folder}, picture {place}: no object of it in the archive" for folder, place in sorted(made)
                   if (folder, place) not in found and not any(text.startswith(f"{folder}/{os.path.basename(made[folder, place])}:") for text in missing))
    missing.extend(references(cases, heads, by_case))
    return rows


def references(cases, heads, by_case):
    """A still that was taken while a clip ran refers to it (PS3.3 section C.12.4)."""
    faults = []
    for case in (case for case in cases if "during" in case):
        still, clip = case["during"]
        of_case = {int(head.InstanceNumber): head for head in heads.values() if by_case[str(head.AccessionNumber)] is case}
        if still in of_case and clip in of_case:
            references_made = [str(item.ReferencedSOPInstanceUID) for item in of_case[still].get("ReferencedImageSequence", [])]
            if references_made != [str(of_case[clip].SOPInstanceUID)]:
                faults.append(f"{case['folder']}: picture {still} does not refer to the clip during which it was taken")
    return faults


def main():
    started = time.monotonic()
    program = os.path.abspath(sys.argv[1])
    folder = os.path.abspath(sys.argv[2]) if len(sys.argv) > 2 else HERE
    with open(os.path.join(HERE, "cases.json"), encoding="utf-8") as file:
        plan = json.load(file)
    cases, missing = plan["cases"], []
    site = tempfile.mkdtemp(prefix="camerabridge-conformance-")
    servers = peers.Peers(site, os.path.join(HERE, "..", "tests", "peers", "loopbind.c"))
    try:
        made = stick.draw(cases, f"{site}/stick", os.environ.get("CAMERABRIDGE_PHOTOS"))
        stick.worklist(cases, f"{site}/worklist/CONFWL")
        web, dicom = servers.orthanc()
        ports = {"worklist": servers.worklist(f"{site}/worklist"), "receiver": servers.receiver(f"{site}/archive"), "orthanc": dicom}
        configuration(f"{site}/camerabridge.yaml", site, ports, plan["device"])
        before = {path: judges.fingerprint(path) for path in made.values()}
        take_stick(program, site, f"{site}/camerabridge.yaml", cases, missing)
        rows = judge(web, program, site, cases, made, missing)
        missing.extend(f"{path}: the camera's file was changed" for path, was in before.items() if judges.fingerprint(path) != was)
        _, version, _ = product(program, "--version")
        result = report.write(folder, rows, missing, {
            "version": version.strip().split("+")[0], "made_at": datetime.datetime.now().astimezone().isoformat(timespec="seconds"),
            "seconds": round(time.monotonic() - started, 1)})
        keep = os.environ.get("CAMERABRIDGE_CONFORMANCE_OBJECTS")
        if keep:
            shutil.rmtree(keep, ignore_errors=True)
            shutil.copytree(f"{site}/archive", keep)
    finally:
        servers.stop()
        shutil.rmtree(site, ignore_errors=True)
    for text in result["missing"]:
        print(text)
    for row in result["rows"]:
        for name, verdict in row["judges"].items():
            if not verdict["good"]:
                print(f"{row['folder']}, picture {row['instance_number']} ({row['optic']} {row['kind']}, {row['made_of']}): {name}: {verdict['words']}")
    print(f"{result['objects']} objects, {result['judgements']} judgements, {result['failed']} failed, {len(result['missing'])} missing, {result['seconds']} s: {folder}/report.html")
    sys.exit(0 if result["conforms"] else 1)


main()
