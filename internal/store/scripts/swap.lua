-- swap: put a field of a hash in place of what it was known to hold.
--
-- KEYS 1 the HASH
-- ARGV 1 field
--      2 what it holds as far as the caller knows; empty: it is not there
--      3 what it is to hold; empty: it is taken out
-- Result: 1 done (now or before), 0 it holds something else

local have = redis.call('HGET', KEYS[1], ARGV[1]) or ''
if have == ARGV[3] then return 1 end
if have ~= ARGV[2] then return 0 end
if ARGV[3] == '' then
  redis.call('HDEL', KEYS[1], ARGV[1])
else
  redis.call('HSET', KEYS[1], ARGV[1], ARGV[3])
end
return 1
