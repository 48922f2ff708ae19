-- snapshot: one household as it stands at one instant.
--
-- KEYS 1 state STRING, 2 log LIST, 3 due ZSET, 4 caseload ZSET
-- ARGV 1 member of the due set, 2 member of the caseload
-- Result: {record or '', due second or '', rank or '', log entries…}

local out = {redis.call('GET', KEYS[1]) or '', redis.call('ZSCORE', KEYS[3], ARGV[1]) or '', redis.call('ZSCORE', KEYS[4], ARGV[2]) or ''}
local entries = redis.call('LRANGE', KEYS[2], 0, -1)
for i = 1, #entries do out[3 + i] = entries[i] end
return out
