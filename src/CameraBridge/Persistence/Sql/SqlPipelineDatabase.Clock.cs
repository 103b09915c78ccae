namespace CameraBridge.Persistence.Sql;

/// <summary>The clock.</summary>
internal abstract partial class SqlPipelineDatabase
{
    /// <summary>A server's clock is for those to keep who run the server.</summary>
    public virtual Task<TimeSpan> KeepTimeAsync(CancellationToken cancellation) => Task.FromResult(TimeSpan.Zero);
}
