using CameraBridge.Persistence.Sql;

namespace CameraBridge.Persistence.Sqlite;

/// <summary>
/// What is due in a state file is told by the clock of this machine, which people and time services set. Set back by an hour it would let everything wait that hour
/// longer, leases of the living included. So the latest time stands in the state, at most a second old when a time is written that something waits for.
/// </summary>
internal static class SqliteTime
{
    /// <summary>Longest time between two notes while the state is written.</summary>
    public static readonly TimeSpan NoteInterval = TimeSpan.FromSeconds(1);

    /// <summary>A clock that is less behind is left to itself: waiting so much longer harms nobody, and time services correct as much.</summary>
    public static readonly TimeSpan Tolerance = TimeSpan.FromSeconds(10);

    /// <summary>Notes the time and, where the clock was set back, brings forward what waits.</summary>
    /// <param name="session">In a transaction that writes.</param>
    /// <param name="now">Its time.</param>
    /// <returns>How far it was set back, in ticks; 0 when it was not.</returns>
    public static long Keep(StateSession session, long now)
    {
        long setBack = (session.QueryNumber("select latest_at from clock where id = 1") ?? now) - now;
        if (setBack >= 0 && setBack <= Tolerance.Ticks)
        {
            // The later time stays: a clock that is set back in small steps is found out by their sum.
            session.Execute("insert into clock (id, latest_at) values (1, $1) on conflict do nothing", now);
            return 0;
        }

        session.Execute("insert into clock (id, latest_at) values (1, $1) on conflict (id) do update set latest_at = excluded.latest_at", now);
        if (setBack < 0)
        {
            return 0;
        }

        session.Execute("update work set due_at = due_at - $1 where due_at > $2", setBack, now);
        session.Execute("update work set lease_until = lease_until - $1 where lease_until > $2", setBack, now);
        session.Execute("update source_leases set lease_until = lease_until - $1 where lease_until > $2", setBack, now);
        session.Execute("update sittings set closes_at = closes_at - $1 where closes_at > $2", setBack, now);

        // A release waits from the time of the last confirmation on.
        session.Execute("update confirmations set finished_at = finished_at - $1 where finished_at > $2", setBack, now);
        return setBack;
    }
}
