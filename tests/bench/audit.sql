-- The tallies of the audit page for every clinic as one statement, written by hand for PostgreSQL.
-- Parameters: since, until, today (dates). Same rows as `Tally.read` for the same base.
WITH rx AS (
  SELECT r.*, l.person_id FROM clinic_prescription r JOIN clinic_limb l ON l.id = r.limb_id
    JOIN clinic_person o ON o.id = l.person_id WHERE o.restricted_on IS NULL
),
first AS (
  SELECT DISTINCT ON (k.lesion_id) k.lesion_id, r.fitted_on, r.device_class
  FROM clinic_prescription_lesions k JOIN clinic_prescription r ON r.id = k.prescription_id
  WHERE r.fitted_on IS NOT NULL ORDER BY k.lesion_id, r.fitted_on, r.id
),
les AS (
  SELECT x.*, l.person_id, o.state AS person_state, o.state_on, e.first_assessed_on,
    GREATEST(e.first_assessed_on, x.first_seen_on) AS known_on,
    CASE WHEN x.state = 'healed' THEN 'healed'
      WHEN x.state = 'ended' AND x.outcome = 'healed' THEN 'healed'
      WHEN x.state = 'ended' AND x.outcome IN ('minor_amputation', 'major_amputation') THEN 'amputation'
      WHEN x.state = 'ended' AND x.outcome = 'died' THEN 'died'
      WHEN x.state = 'ended' AND x.outcome = 'moved' THEN 'moved'
      WHEN x.state = 'ended' THEN 'lost' WHEN o.state = 'died' THEN 'died' WHEN o.state <> 'in_care' THEN 'moved'
      WHEN x.state = 'to_confirm' THEN 'to_confirm' ELSE 'open' END AS now
  FROM clinic_lesion x JOIN clinic_limb l ON l.id = x.limb_id JOIN clinic_person o ON o.id = l.person_id
    JOIN clinic_episode e ON e.id = x.episode_id
  WHERE o.restricted_on IS NULL
),
t_prescription AS (
  SELECT agreement, departure_reason, departure_own_id AS departure_own, departure_words, first_offered <> '' AS offered,
    CASE WHEN fitted_on IS NULL THEN 'not_fitted' WHEN fitted_on >= %(today)s::date - 7 THEN 'not_due'
      WHEN EXISTS (SELECT 1 FROM clinic_visit c WHERE c.state = 'stands' AND c.attendance = 'came' AND c.person_id = rx.person_id AND visited_on > fitted_on
        AND visited_on <= fitted_on + 7) THEN 'in_time' ELSE 'late' END AS review, count(*) AS n
  FROM rx WHERE prescribed_on BETWEEN %(since)s::date AND %(until)s::date GROUP BY 1, 2, 3, 4, 5, 6
),
t_lesion AS (
  SELECT COALESCE(f.device_class, '') AS first_class, now,
    CASE WHEN x.first_seen_on >= %(today)s::date - 35 OR COALESCE(x.closed_on, x.ended_on, x.state_on) <= x.first_seen_on + 35
      THEN 'not_due'
      WHEN EXISTS (SELECT 1 FROM clinic_measurement m JOIN clinic_visit v ON v.id = m.visit_id
        WHERE m.lesion_id = x.id AND (m.area_mm2 IS NOT NULL OR m.covered_dry) AND v.state = 'stands'
        AND v.visited_on BETWEEN x.first_seen_on + 21 AND x.first_seen_on + 35) THEN 'recorded' ELSE 'missing' END AS four_week,
    count(*) AS n
  FROM les x LEFT JOIN first f ON f.lesion_id = x.id
  WHERE x.id IN (SELECT k.lesion_id FROM clinic_prescription_lesions k JOIN rx r ON r.id = k.prescription_id
    WHERE r.prescribed_on BETWEEN %(since)s::date AND %(until)s::date) GROUP BY 1, 2, 3
),
t_arrival AS (
  SELECT f.fitted_on - known_on AS lag, now,
    CASE WHEN known_on <= %(today)s::date - 14 THEN 14 WHEN known_on <= %(today)s::date - 7 THEN 7 WHEN known_on <= %(today)s::date - 2 THEN 2 ELSE 0 END AS due,
    CASE WHEN known_on >= %(today)s::date - 98 THEN 'not_due'
      WHEN x.state = 'healed' AND closed_on <= known_on + 84 THEN 'healed'
      WHEN x.state = 'ended' AND outcome IN ('minor_amputation', 'major_amputation') AND ended_on <= known_on + 84 THEN 'amputation'
      WHEN x.state = 'ended' AND outcome = 'died' AND ended_on <= known_on + 84 THEN 'died'
      WHEN person_state = 'died' AND state_on <= known_on + 84 THEN 'died'
      WHEN (x.state = 'ended' AND ended_on <= known_on + 84) OR (x.state = 'to_confirm' AND closed_on <= known_on + 84)
        OR (person_state = 'moved' AND state_on <= known_on + 84) THEN 'unknown'
      WHEN EXISTS (SELECT 1 FROM clinic_visit c WHERE c.state = 'stands' AND c.attendance = 'came' AND c.person_id = x.person_id AND visited_on >= known_on + 70) THEN 'open'
      ELSE 'unknown' END AS week12, count(*) AS n
  FROM les x LEFT JOIN first f ON f.lesion_id = x.id
  WHERE wound_kind = 'ulcer' AND known_on BETWEEN %(since)s::date AND %(until)s::date GROUP BY 1, 2, 3, 4
),
told AS (
  SELECT x.episode_id, bool_or(outcome = 'died' AND ended_on <= x.first_assessed_on + 84) AS died,
    bool_and((x.state = 'healed' AND closed_on <= x.first_assessed_on + 84) IS TRUE
      OR (x.state = 'ended' AND outcome IN ('minor_amputation', 'major_amputation', 'healed')
        AND ended_on <= x.first_assessed_on + 84) IS TRUE) AS gone,
    bool_or((x.state = 'ended' AND outcome IN ('lost', 'moved') AND ended_on <= x.first_assessed_on + 84)
      OR (x.state = 'to_confirm' AND closed_on <= x.first_assessed_on + 84)) AS unknown
  FROM les x WHERE x.first_seen_on <= x.first_assessed_on + 84 GROUP BY 1
),
t_episode AS (
  SELECT e.first_assessed_on - e.first_presented_on AS wait,
    CASE WHEN e.first_assessed_on >= %(today)s::date - 98 THEN 'not_due'
      WHEN o.state = 'died' AND o.state_on <= e.first_assessed_on + 84 THEN 'died' WHEN t.died THEN 'died'
      WHEN COALESCE(t.gone, true) THEN 'free'
      WHEN o.state = 'moved' AND o.state_on <= e.first_assessed_on + 84 THEN 'unknown' WHEN t.unknown THEN 'unknown'
      WHEN EXISTS (SELECT 1 FROM clinic_visit c WHERE c.state = 'stands' AND c.attendance = 'came' AND c.person_id = e.person_id AND visited_on >= e.first_assessed_on + 70)
        THEN 'not_free' ELSE 'unknown' END AS week12, count(*) AS n
  FROM clinic_episode e JOIN clinic_person o ON o.id = e.person_id LEFT JOIN told t ON t.episode_id = e.id
  WHERE e.first_assessed_on BETWEEN %(since)s::date AND %(until)s::date
    AND o.restricted_on IS NULL AND EXISTS (SELECT 1 FROM clinic_lesion x WHERE x.episode_id = e.id) GROUP BY 1, 2
),
t_visit AS (
  SELECT attendance, count(*) AS n FROM clinic_visit v JOIN clinic_person o ON o.id = v.person_id
  WHERE o.restricted_on IS NULL AND v.state = 'stands' AND visited_on BETWEEN %(since)s::date AND LEAST(%(until)s::date, %(today)s::date) GROUP BY 1
),
t_troubled AS (
  SELECT fall, other_foot, skin_under_device, count(*) AS n FROM clinic_visit v JOIN clinic_person o ON o.id = v.person_id
  WHERE o.restricted_on IS NULL AND v.state = 'stands' AND attendance = 'came' AND visited_on BETWEEN %(since)s::date AND LEAST(%(until)s::date, %(today)s::date)
    AND (fall OR other_foot = 'problem' OR skin_under_device = 'problem')
    AND EXISTS (SELECT 1 FROM clinic_prescription rx JOIN clinic_limb l ON l.id = rx.limb_id
      WHERE l.person_id = v.person_id AND rx.fitted_on <= v.visited_on
      AND (rx.stopped_on IS NULL OR rx.stopped_on >= v.visited_on)) GROUP BY 1, 2, 3
),
t_worn AS (
  SELECT CASE WHEN stopped_on BETWEEN %(since)s::date AND LEAST(%(until)s::date, %(today)s::date) AND stop_reason NOT IN ('healed', 'changed')
      THEN stop_reason ELSE '' END AS early,
    CASE WHEN (opened_on > open_by AND opened_on BETWEEN %(since)s::date AND LEAST(%(until)s::date, %(today)s::date))
      OR (opened_on IS NULL AND stopped_on IS NULL AND open_by >= %(since)s::date AND open_by < %(today)s::date) THEN 'late' ELSE '' END AS late,
    count(*) AS n,
    sum(GREATEST(0, LEAST(COALESCE(stopped_on, LEAST(%(until)s::date, %(today)s::date) + 1), LEAST(%(until)s::date, %(today)s::date) + 1)
      - GREATEST(fitted_on, %(since)s::date))) AS days
  FROM rx
  WHERE fitted_on <= LEAST(%(until)s::date, %(today)s::date) AND (stopped_on IS NULL OR stopped_on >= %(since)s::date) GROUP BY 1, 2
),
spans AS (
  SELECT x.id, x.limb_id, GREATEST(known_on, %(since)s::date) AS opens,
    LEAST(COALESCE(closed_on, ended_on, state_on, LEAST(%(until)s::date, %(today)s::date) + 1), LEAST(%(until)s::date, %(today)s::date) + 1) AS shuts
  FROM les x WHERE wound_kind = 'ulcer' AND known_on <= LEAST(%(until)s::date, %(today)s::date)
    AND COALESCE(closed_on, ended_on, state_on, LEAST(%(until)s::date, %(today)s::date) + 1) > %(since)s::date
),
per_lesion AS (
  SELECT s.id, GREATEST(0, s.shuts - s.opens) AS eligible,
    COALESCE(sum(GREATEST(0, LEAST(COALESCE(r.stopped_on, LEAST(%(until)s::date, %(today)s::date) + 1), s.shuts)
      - GREATEST(r.fitted_on, s.opens))) FILTER (WHERE r.id IS NOT NULL), 0) AS covered
  FROM spans s LEFT JOIN clinic_prescription r ON r.limb_id = s.limb_id AND r.fitted_on IS NOT NULL
  GROUP BY s.id, s.opens, s.shuts
),
t_gap AS (
  SELECT count(*) AS ulcers, count(*) FILTER (WHERE covered < eligible) AS bare_ulcers, sum(eligible) AS days,
    sum(eligible) - sum(covered) AS bare_days FROM per_lesion
),
t_healed AS (
  SELECT COALESCE((a.again - confirmed_on) * 4 + 1,
      (CASE WHEN person_state <> 'in_care' THEN state_on END - confirmed_on) * 4
        + CASE WHEN person_state = 'died' AND state_on >= confirmed_on THEN 2 ELSE 0 END,
      (s.seen - confirmed_on) * 4, 0) AS trail, count(*) AS n
  FROM les x
    LEFT JOIN LATERAL (SELECT min(y.first_seen_on) AS again FROM clinic_lesion y JOIN clinic_limb l ON l.id = y.limb_id
      WHERE l.person_id = x.person_id AND y.wound_kind = 'ulcer' AND y.first_seen_on > x.confirmed_on) a ON true
    LEFT JOIN LATERAL (SELECT max(visited_on) AS seen FROM clinic_visit c
      WHERE c.state = 'stands' AND c.attendance = 'came' AND c.person_id = x.person_id AND visited_on >= x.confirmed_on) s ON true
  WHERE x.state = 'healed' AND confirmed_on BETWEEN %(since)s::date AND %(until)s::date GROUP BY 1
),
t_unjudged AS (
  SELECT advice ->> 'missing' AS missing, count(*) AS n FROM rx
  WHERE agreement = 'unjudged' AND prescribed_on BETWEEN %(since)s::date AND %(until)s::date GROUP BY 1
),
t_reused AS (
  SELECT md5(lower(btrim(reason))) AS mark, count(*) AS n FROM rx
  WHERE agreement = 'departed' AND prescribed_on BETWEEN %(since)s::date AND %(until)s::date
  GROUP BY 1 HAVING count(DISTINCT person_id) > 1 ORDER BY n DESC, mark LIMIT 10
)
SELECT json_build_object(
  'prescription', (SELECT json_agg(t) FROM t_prescription t), 'lesion', (SELECT json_agg(t) FROM t_lesion t),
  'arrival', (SELECT json_agg(t) FROM t_arrival t), 'episode', (SELECT json_agg(t) FROM t_episode t),
  'visit', (SELECT json_agg(t) FROM t_visit t), 'troubled', (SELECT json_agg(t) FROM t_troubled t),
  'worn', (SELECT json_agg(t) FROM t_worn t), 'gap', (SELECT json_agg(t) FROM t_gap t),
  'healed', (SELECT json_agg(t) FROM t_healed t), 'unjudged', (SELECT json_agg(t) FROM t_unjudged t),
  'reused', (SELECT json_agg(t) FROM t_reused t))
