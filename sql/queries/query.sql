-- What the HTTP face asks. The three sources of energy rows answer the same columns, so that
-- one reader serves them: start minute, mode, known, ms, heat_j, heat_ms, sensitivity, meters, of
-- those with a register what was spread and bridged. Minutes answer their slot, too: ordered by a
-- column of the answer, both halves of the view are merged as they come, without a sorter.

-- name: energy_from_minutes
SELECT slot / 16, slot % 16, known, coalesce(ms, 60000), heat_j,
    CASE WHEN heat_j IS NULL THEN 0 ELSE coalesce(heat_ms, 60000) END,
    coalesce(sensitivity, 0){meters|, e_$_j,
    CASE WHEN e_$_j IS NULL THEN 0 ELSE coalesce(e_$_ms, 60000) END}{counting|, s_$_j, b_$_j, b_$_ms},
    slot
  FROM all_energy_minutes WHERE slot >= :from_minute * 16 AND slot < :to_minute * 16
  ORDER BY slot;

-- name: energy_from_hours
SELECT hour * 60, mode, known, ms, heat_j, heat_ms, sensitivity{meters|, e_$_j, e_$_ms}{counting|, s_$_j, b_$_j, b_$_ms}
  FROM energy_hours WHERE hour >= :from_minute / 60 AND hour < :to_minute / 60
  ORDER BY hour;

-- name: energy_from_days
SELECT start_minute, mode, known, ms, heat_j, heat_ms, sensitivity{meters|, e_$_j, e_$_ms}{counting|, s_$_j, b_$_j, b_$_ms}
  FROM energy_days WHERE start_minute >= :from_minute AND start_minute < :to_minute
  ORDER BY start_minute;

-- The span of a register that is not over at an instant, if it had begun by then.
-- name: settlement_at
SELECT begin_ms, end_ms, kind, j
  FROM settlements WHERE meter = :meter AND end_ms > :at_ms ORDER BY end_ms, begin_ms LIMIT 1;

-- The sources of channel rows, of all asked channels at once: start minute; each one's value and
-- known ms; then least and most of those that keep them. In minutes known ms are NULL where they
-- are the whole minute's.
-- name: series_from_minutes
SELECT minute{asked|, c_$, c_$_ms}{asked_extremes|, c_$_least, c_$_most}
  FROM all_minutes WHERE minute >= :from_minute AND minute < :to_minute ORDER BY minute;

-- name: series_from_hours
SELECT hour * 60{asked|, c_$, c_$_ms}{asked_extremes|, c_$_least, c_$_most}
  FROM hours WHERE hour >= :from_minute / 60 AND hour < :to_minute / 60 ORDER BY hour;

-- name: series_from_days
SELECT start_minute{asked|, c_$, c_$_ms}{asked_extremes|, c_$_least, c_$_most}
  FROM days WHERE start_minute >= :from_minute AND start_minute < :to_minute
  ORDER BY start_minute;
