using CameraBridge.Commands;

return await CommandLine.RunAsync(args, Terminal.Process(), CancellationToken.None).ConfigureAwait(false);
