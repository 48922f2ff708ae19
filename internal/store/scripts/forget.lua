-- forget: take a household that no longer exists off the lists that name it.
--
-- KEYS 1 state STRING, 2 due ZSET, 3 caseload ZSET
-- ARGV 1 member of the due set, 2 member of the caseload
-- Result: 1 if it was forgotten, 0 if the record exists

if redis.call('EXISTS', KEYS[1]) == 1 then return 0 end
redis.call('ZREM', KEYS[2], ARGV[1])
redis.call('ZREM', KEYS[3], ARGV[2])
return 1
