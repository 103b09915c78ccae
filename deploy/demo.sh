#!/usr/bin/env bash
# Shows the whole job on this machine, with invented patients: builds the program, draws a stick of pictures as a morning at a clinic leaves it, starts
# the practice hospital (worklist and archive, loopback only), takes the stick through the flow, and compares what came of it with what was drawn.
# Leaves the received objects in artifacts/demo/archive/*.dcm and the outcome in artifacts/demo/result.json.
# Exit code: 0 when exactly the expected sittings were filed and the expected ones held; else another.
set -uo pipefail
cd "$(dirname "$0")/.." || exit 1

if ! command -v dotnet >/dev/null || ! dotnet --list-sdks 2>/dev/null | grep -q '^10\.'; then
  echo "The .NET 10 SDK is missing. On Debian: add Microsoft's package source, then 'apt-get install dotnet-sdk-10.0'; or follow" >&2
  echo "https://dotnet.microsoft.com/download/dotnet/10.0 and put 'dotnet' on the PATH." >&2
  exit 1
fi
export DOTNET_CLI_TELEMETRY_OPTOUT=1 DOTNET_NOLOGO=1

demo=artifacts/demo
rm -rf "$demo"
mkdir -p "$demo/archive"

echo "Building ..."
# Without the analyzers, which judge the code and not the program, and take longer than the rest: tests/run.sh runs them.
dotnet build src/CameraBridge -c Release -p:RunAnalyzers=false -nologo -v quiet >"$demo/build.log" 2>&1 || { cat "$demo/build.log" >&2; exit 1; }
camerabridge=src/CameraBridge/bin/Release/net10.0/camerabridge

echo
echo "A stick, as the camera leaves it:"
"$camerabridge" practice stick "$demo" --seed "${DEMO_SEED:-1}" ${DEMO_DAY:+--day "$DEMO_DAY"} --time-zone Europe/London || exit 1

"$camerabridge" practice hospital --orders "$demo/orders.yaml" --archive "$demo/archive" --port-file "$demo/hospital.port" \
  >"$demo/hospital.log" 2>&1 &
hospital=$!
trap 'kill "$hospital" 2>/dev/null; wait "$hospital" 2>/dev/null' EXIT
for _ in $(seq 100); do
  [ -s "$demo/hospital.port" ] && break
  kill -0 "$hospital" 2>/dev/null || { cat "$demo/hospital.log" >&2; exit 1; }
  sleep 0.1
done
port=$(cat "$demo/hospital.port") || exit 1
echo "The practice hospital: worklist and archive PRACTICE at 127.0.0.1:$port"

cat >"$demo/camerabridge.yaml" <<YAML
institution:
  name: Hollin Vale Outreach Clinic
time_zone: Europe/London
spool: $PWD/$demo/spool
state: $PWD/$demo/state.db
sources:
  - name: clinic-stick
    folder: $PWD/$demo/stick
    kind: stick
    station:
      ae_title: HOLLINCAM1
    settle_time: 0 s
    device:
      manufacturer: Hollin Vale Workshop
      model: PracticeCam 1
labels:
  patterns:
    - name: wristband
      expression: '^PID:(?<patient_id>[0-9]{7})$'
      issuer: HOLLINVALE
    - name: order-sheet
      expression: '^ACC:(?<accession_number>[A-Z]{2}[0-9]{6})$'
worklist:
  host: 127.0.0.1
  port: $port
  called_ae_title: PRACTICE
destinations:
  - name: archive
    host: 127.0.0.1
    port: $port
    called_ae_title: PRACTICE
YAML

echo
echo "Taking the stick through the flow:"
"$camerabridge" once "$demo/stick" --config "$demo/camerabridge.yaml" --report "$demo/result.json"
code=$?
# 3 says that something is held, as it must be on this stick.
if [ "$code" != 3 ]; then
  echo "'once' ended with exit code $code, expected 3 (something is held)." >&2
  exit 1
fi

echo
echo "What was drawn, and what came of it:"
"$camerabridge" practice compare "$demo" --report "$demo/result.json" --archive "$demo/archive" || exit 1
echo "Received objects: $demo/archive. Outcome: $demo/result.json. What is held: $camerabridge held list --config $demo/camerabridge.yaml"
