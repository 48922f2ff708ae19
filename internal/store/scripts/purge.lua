-- purge: take a household away whose retention date has come, all of it.
--
-- KEYS 1 state STRING, 2 log LIST, 3 due ZSET, 4 caseload ZSET
-- ARGV 1 the version it was decided on, 2 member of the due set, 3 of the caseload
-- Result: {'done'}, also where it is gone already; {'conflict', record}

local current = redis.call('GETRANGE', KEYS[1], 0, 15)
if current ~= ARGV[1] and current ~= '' then
  return {'conflict', redis.call('GET', KEYS[1])}
end
redis.call('DEL', KEYS[1], KEYS[2])
redis.call('ZREM', KEYS[3], ARGV[2])
redis.call('ZREM', KEYS[4], ARGV[3])
return {'done'}
