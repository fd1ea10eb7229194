-- Events of instruments (event.h). Those that readings of a time made are replaced together.

-- name: events_drop
DELETE FROM events WHERE made_ms >= :from_ms AND made_ms < :to_ms;

-- One kind of one subject.
-- name: event_drop
DELETE FROM events WHERE t_ms >= :from_ms AND t_ms < :to_ms AND kind = :kind
    AND is_meter = :is_meter AND subject = :subject;

-- name: event_add
INSERT OR REPLACE INTO events (made_ms, is_meter, subject, kind, t_ms, before, after)
  VALUES (:made_ms, :is_meter, :subject, :kind, :t_ms, :before, :after);

-- name: events_between
SELECT kind, t_ms, made_ms, is_meter, subject, before, after FROM events
  WHERE t_ms >= :from_ms AND t_ms < :to_ms ORDER BY t_ms, is_meter, subject, kind, made_ms;

-- name: events_of_kind
SELECT t_ms, is_meter, subject, after FROM events INDEXED BY events_by_time
  WHERE t_ms >= :from_ms AND t_ms < :to_ms AND kind = :kind ORDER BY t_ms;

-- slow: the ends of an index, up to the first of an instrument
-- name: event_span
SELECT (SELECT t_ms FROM events INDEXED BY events_by_time WHERE subject <> ''
    ORDER BY t_ms LIMIT 1),
  (SELECT t_ms FROM events INDEXED BY events_by_time WHERE subject <> ''
    ORDER BY t_ms DESC LIMIT 1);
