"""Writes report.json and report.html: a row for each object and judge."""
import html
import json

JUDGES = {
    "validate": "camerabridge validate: every module, code and encoding rule, and the bit stream against the attributes",
    "dciodvfy": "dciodvfy of dicom3tools: no line that begins with Error",
    "dcentvfy": "dcentvfy of dicom3tools: patient, study and series alike in all objects of the study",
    "pydicom": "pydicom reads every element, and the patient's name is the ordered one",
    "gdcm": "GDCM reads the file whole",
    "wado": "Orthanc gives back over WADO-RS the data set that was sent, byte for byte",
    "pixels": "the still, or the first frame of the clip, equals the camera file's, decoded by Pillow or ffmpeg",
}


def write(folder, rows, missing, facts):
    judged = [verdict for row in rows for verdict in row["judges"].values()]
    report = {
        "conforms": bool(rows) and not missing and all(verdict["good"] for verdict in judged),
        "objects": len(rows),
        "judgements": len(judged),
        "failed": sum(not verdict["good"] for verdict in judged),
        "missing": missing,
        **facts,
        "judges": JUDGES,
        "rows": rows,
    }
    with open(f"{folder}/report.json", "w", encoding="utf-8") as file:
        json.dump(report, file, ensure_ascii=False, indent=1)
    with open(f"{folder}/report.html", "w", encoding="utf-8") as file:
        file.write(page(report))
    return report


def page(report):
    def cell(verdict):
        return f'<td class="{"good" if verdict["good"] else "bad"}">{"ok" if verdict["good"] else "FAILED"}<br><small>{html.escape(verdict["words"])}</small></td>'

    heads = "".join(f"<th>{name}</th>" for name in JUDGES)
    rows = "\n".join(
        f'<tr><td>{html.escape(row["optic"])}</td><td>{row["kind"]}</td><td>{html.escape(row["made_of"])}<br><small>{html.escape(row["odd"])}</small></td>'
        f'<td>{html.escape(row["sop_class"])}<br><small>{html.escape(row["transfer_syntax"])}</small></td>'
        + "".join(cell(row["judges"][judge]) for judge in JUDGES) + "</tr>"
        for row in report["rows"])
    lost = "".join(f"<li>{html.escape(text)}</li>" for text in report["missing"])
    return f"""<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>CameraBridge: conformance report</title>
<style>
body {{ font: 14px/1.4 system-ui, sans-serif; margin: 2rem; color: #222; background: #fff }}
table {{ border-collapse: collapse }} td, th {{ border: 1px solid #bbb; padding: .3rem .5rem; text-align: left; vertical-align: top }}
th {{ background: #eee; position: sticky; top: 0 }} small {{ color: #555 }} .good {{ background: #e6f4e6 }} .bad {{ background: #f8d7d7; font-weight: bold }}
</style></head><body>
<h1>Conformance report</h1>
<p>CameraBridge {html.escape(report["version"])}, {html.escape(report["made_at"])}: <b>{report["objects"]} objects, {report["judgements"]} judgements, {report["failed"]} failed</b>,
{len(report["missing"])} missing. Made by <code>conformance/run.sh</code> of the cases in <code>conformance/cases.json</code>, with invented patients.</p>
{f"<h2>Missing</h2><ul>{lost}</ul>" if lost else ""}
<h2>Judges</h2><ul>{"".join(f"<li><b>{name}</b>: {html.escape(words)}</li>" for name, words in JUDGES.items())}</ul>
<h2>Objects</h2>
<table><thead><tr><th>optic</th><th>kind</th><th>made of</th><th>object</th>{heads}</tr></thead><tbody>
{rows}
</tbody></table></body></html>
"""
