-- Registers' spans and the minutes that they are laid over. $ is a meter's name, or 0 of heat, and
-- @ the stem of the columns of the energy itself: e_$, or heat. Of a row that a span changed, p_$_j and p_$_ms keep what power had said (p_$_ms is NULL where nothing was
-- changed); s_$_j and b_$_j say how much of @_j was spread evenly and bridged, b_$_ms for how
-- long.

-- name: counting_columns (script)
ALTER TABLE energy_minutes ADD COLUMN p_$_j INTEGER;
ALTER TABLE energy_minutes ADD COLUMN p_$_ms INTEGER;
ALTER TABLE energy_minutes ADD COLUMN s_$_j INTEGER;
ALTER TABLE energy_minutes ADD COLUMN b_$_j INTEGER;
ALTER TABLE energy_minutes ADD COLUMN b_$_ms INTEGER;
ALTER TABLE energy_hours ADD COLUMN s_$_j INTEGER;
ALTER TABLE energy_hours ADD COLUMN b_$_j INTEGER;
ALTER TABLE energy_hours ADD COLUMN b_$_ms INTEGER;
ALTER TABLE energy_days ADD COLUMN s_$_j INTEGER;
ALTER TABLE energy_days ADD COLUMN b_$_j INTEGER;
ALTER TABLE energy_days ADD COLUMN b_$_ms INTEGER;

-- name: settlement_add
INSERT INTO settlements (meter, end_ms, begin_ms, kind, made_ms, j, from_j, to_j, first,
    power_j, power_ms, head_j, head_ms, tail_j, tail_ms)
  VALUES (:meter, :end_ms, :begin_ms, :kind, :made_ms, :j, :from_j, :to_j, :first,
    :power_j, :power_ms, :head_j, :head_ms, :tail_j, :tail_ms);

-- What readings of a span closed.
-- name: settlements_made
SELECT meter, end_ms, begin_ms, kind, made_ms, j, from_j, to_j, first, power_j,
    power_ms, head_j, head_ms,
    tail_j, tail_ms
  FROM settlements WHERE made_ms >= :from_ms AND made_ms < :to_ms
  ORDER BY made_ms, meter, begin_ms, end_ms, kind;

-- What registers and power say of the same time, of what power shaped (kind 0).
-- name: settlements_compare
SELECT meter, count(*), sum(j), sum(power_j), min(begin_ms), max(end_ms) FROM settlements
  WHERE made_ms >= :from_ms AND made_ms < :to_ms AND kind = 0 GROUP BY meter;

-- name: settlements_drop
DELETE FROM settlements WHERE made_ms >= :from_ms AND made_ms < :to_ms;

-- Spans that lie over [from, to); none of a meter overlap.
-- name: settlements_over
SELECT meter, end_ms, begin_ms, kind, made_ms, j, from_j, to_j, first, power_j,
    power_ms, head_j, head_ms,
    tail_j, tail_ms
  FROM settlements WHERE meter = :meter AND end_ms > :from_ms ORDER BY end_ms, begin_ms, kind;

-- The span that ends at an instant: none of a meter overlap.
-- name: settlement_ending
SELECT meter, end_ms, begin_ms, kind, made_ms, j, from_j, to_j, first, power_j,
    power_ms, head_j, head_ms,
    tail_j, tail_ms
  FROM settlements WHERE meter = :meter AND end_ms = :end_ms AND begin_ms < end_ms AND kind < 3;

-- The last span that earlier readings made and that ends within another one.
-- name: settlement_earlier
SELECT meter, end_ms, begin_ms, kind, made_ms, j, from_j, to_j, first, power_j,
    power_ms, head_j, head_ms,
    tail_j, tail_ms
  FROM settlements WHERE meter = :meter AND end_ms > :begin_ms AND begin_ms < :end_ms
    AND end_ms <= :from_ms AND made_ms < :from_ms AND kind < 3 AND begin_ms < end_ms
  ORDER BY end_ms DESC LIMIT 1;

-- The first one that readings from a time on made, of those that end behind another time.
-- name: settlement_next
SELECT meter, end_ms, begin_ms, kind, made_ms, j, from_j, to_j, first, power_j,
    power_ms, head_j, head_ms,
    tail_j, tail_ms
  FROM settlements WHERE meter = :meter AND end_ms > :from_ms AND made_ms >= :to_ms
    AND kind < 3 AND begin_ms < end_ms
  ORDER BY end_ms LIMIT 1;

-- The last one that is over at an instant, of any kind.
-- name: settlement_last
SELECT meter, end_ms, begin_ms, kind, made_ms, j, from_j, to_j, first, power_j,
    power_ms, head_j, head_ms,
    tail_j, tail_ms
  FROM settlements WHERE meter = :meter AND end_ms <= :until_ms
  ORDER BY end_ms DESC, begin_ms DESC, kind DESC LIMIT 1;

-- Where the last of all ends: what the register counts since belongs to one that is not over.
-- name: settlement_last_end
SELECT end_ms FROM settlements WHERE meter = :meter ORDER BY end_ms DESC LIMIT 1;

-- name: settlement_drop
DELETE FROM settlements WHERE meter = :meter AND end_ms = :end_ms AND begin_ms = :begin_ms
    AND kind = :kind;

-- Made by later readings of an earlier derivation, and overtaken by what was just made: it lies
-- over the same time, or is the same of an instant, which lies over none.
-- name: settlement_overtaken
DELETE FROM settlements WHERE meter = :meter AND end_ms >= :begin_ms AND made_ms >= :to_ms
    AND (end_ms > :begin_ms AND begin_ms < :end_ms
      OR end_ms = :end_ms AND begin_ms = :begin_ms AND kind = :kind)
  RETURNING meter, end_ms, begin_ms, kind, made_ms, j, from_j, to_j, first, power_j, power_ms,
    head_j, head_ms, tail_j, tail_ms;

-- name: settle_rows
SELECT slot, known, coalesce(ms, 60000), @_j, @_ms, p_$_j, p_$_ms, s_$_j, b_$_j, b_$_ms
  FROM main.energy_minutes WHERE slot >= :from_minute * 16 AND slot < :to_minute * 16
  ORDER BY slot;

-- What power said in whole minutes, the amounts of it, and for how long.
-- name: settle_power
SELECT coalesce(sum(CASE WHEN p_$_ms IS NULL THEN @_j ELSE p_$_j END), 0),
    coalesce(sum(abs(CASE WHEN p_$_ms IS NULL THEN @_j ELSE p_$_j END)), 0),
    coalesce(sum(CASE WHEN p_$_ms IS NOT NULL THEN p_$_ms WHEN @_j IS NULL THEN 0
      ELSE coalesce(@_ms, 60000) END), 0)
  FROM main.energy_minutes WHERE slot >= :from_minute * 16 AND slot < :to_minute * 16;

-- What minutes hold, whatever they were booked by; and what hours do.
-- name: settle_booked
SELECT coalesce(sum(@_j), 0) FROM main.energy_minutes
  WHERE slot >= :from_minute * 16 AND slot < :to_minute * 16;

-- name: settle_booked_hour
SELECT coalesce(sum(@_j), 0) FROM energy_hours
  WHERE hour >= :from_minute / 60 AND hour < :to_minute / 60;

-- What a meter before another measured in all, of each row.
-- name: difference_rows
SELECT slot, g_$_j, g_$_ms FROM main.energy_minutes
  WHERE slot >= :from_minute * 16 AND slot < :to_minute * 16 AND g_$_ms NOT NULL
  ORDER BY slot;

-- As settle_power.
-- name: difference_power
SELECT coalesce(sum(g_$_j), 0), coalesce(sum(abs(g_$_j)), 0), coalesce(sum(g_$_ms), 0)
  FROM main.energy_minutes WHERE slot >= :from_minute * 16 AND slot < :to_minute * 16;

-- What minutes hold of a meter behind another: energy, known time, what was spread and bridged
-- and for how long; whether a span changed it.
-- name: difference_behind
SELECT slot / 16, sum(@_j), sum(CASE WHEN @_j IS NULL THEN 0 ELSE coalesce(@_ms, 60000) END),
    coalesce(sum(s_$_j), 0), coalesce(sum(b_$_j), 0), coalesce(sum(b_$_ms), 0), count(p_$_ms)
  FROM main.energy_minutes WHERE slot >= :from_minute * 16 AND slot < :to_minute * 16
    AND @_j NOT NULL
  GROUP BY slot / 16;

-- The same of one that no register changes.
-- name: difference_plain
SELECT slot / 16, sum(@_j), sum(coalesce(@_ms, 60000)), 0, 0, 0, 0
  FROM main.energy_minutes WHERE slot >= :from_minute * 16 AND slot < :to_minute * 16
    AND @_j NOT NULL
  GROUP BY slot / 16;

-- Spans of a register that reach into [from, to).
-- name: settlements_reach
SELECT min(begin_ms), max(end_ms) FROM settlements
  WHERE meter = :meter AND end_ms > :from_ms AND begin_ms < :to_ms;

-- name: settle_change
UPDATE main.energy_minutes SET known = :known, @_j = :j, @_ms = :ms, p_$_j = :power_j,
    p_$_ms = :power_ms, s_$_j = :spread_j, b_$_j = :bridged_j, b_$_ms = :bridged_ms
  WHERE slot = :slot;

-- name: settle_add
INSERT INTO main.energy_minutes
    (slot, known, ms, @_j, @_ms, p_$_j, p_$_ms, s_$_j, b_$_j, b_$_ms)
  VALUES (:slot, :known, 0, :j, :ms, :power_j, :power_ms, :spread_j, :bridged_j, :bridged_ms);

-- A row that a span had made and in which nothing is left.
-- name: settle_drop
DELETE FROM main.energy_minutes
  WHERE slot = :slot AND ms = 0 AND heat_j IS NULL{meters| AND e_$_j IS NULL};
