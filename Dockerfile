# syntax=docker/dockerfile:1
# Stage 1 builds the program, compiled ahead for the machine; stage 2 holds it and nothing else, and runs it as a user without rights.
FROM mcr.microsoft.com/dotnet/sdk:10.0 AS build
WORKDIR /source
COPY global.json Directory.Build.props Directory.Packages.props .editorconfig ./
COPY src/CameraBridge.Dicom/CameraBridge.Dicom.csproj src/CameraBridge.Dicom/
COPY src/CameraBridge/CameraBridge.csproj src/CameraBridge/
RUN dotnet restore src/CameraBridge/CameraBridge.csproj -r linux-x64 -p:PublishReadyToRun=true
COPY src/ src/
RUN dotnet publish src/CameraBridge/CameraBridge.csproj -c Release -r linux-x64 --self-contained false --no-restore -o /app

FROM mcr.microsoft.com/dotnet/aspnet:10.0
RUN useradd --system --uid 10104 --home-dir /var/lib/camerabridge --create-home camerabridge \
 && mkdir -p /var/lib/camerabridge/spool /etc/camerabridge \
 && chown -R camerabridge:camerabridge /var/lib/camerabridge
COPY --from=build /app /opt/camerabridge
# Mount the site's configuration to /etc/camerabridge/camerabridge.yaml, the sources read-only below /srv, and keep /var/lib/camerabridge on a
# volume: it holds the captures and the state until every destination has them.
VOLUME /var/lib/camerabridge
USER camerabridge
ENTRYPOINT ["/opt/camerabridge/camerabridge"]
CMD ["serve"]
