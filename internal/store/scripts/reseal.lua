-- reseal: put a value in place of an equal one that was sealed otherwise. What
-- changed meanwhile is left alone.
--
-- KEYS 1 the key
-- ARGV 1 what it is: 'string', 'list', 'hash' or 'zset'
--      2 where in it: '', an index, a field, ''
--      3 the value as it was read
--      4 the value as it is to be
--      5 the field it is to be in, of a hash
-- Result: 1 done, 0 something else is there

local k, kind, where, was, is = KEYS[1], ARGV[1], ARGV[2], ARGV[3], ARGV[4]
if kind == 'string' then
  if redis.call('GET', k) ~= was then return 0 end
  redis.call('SET', k, is, 'KEEPTTL')
elseif kind == 'list' then
  if redis.call('LINDEX', k, where) ~= was then return 0 end
  redis.call('LSET', k, where, is)
elseif kind == 'hash' then
  if redis.call('HGET', k, where) ~= was then return 0 end
  redis.call('HSET', k, ARGV[5], is)
  if ARGV[5] ~= where then redis.call('HDEL', k, where) end
else
  local score = redis.call('ZSCORE', k, was)
  if not score then return 0 end
  redis.call('ZREM', k, was)
  redis.call('ZADD', k, score, is)
end
return 1
