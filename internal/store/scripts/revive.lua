-- revive: put entries whose wait is over back on their stream.
--
-- KEYS 1 retry ZSET, 2 STREAM
-- ARGV 1 now, s (Unix)
--      2 how many at most
-- Result: how many

local members = redis.call('ZRANGEBYSCORE', KEYS[1], '-inf', ARGV[1], 'LIMIT', 0, ARGV[2])
redis.call('XLEN', KEYS[2])
for _, member in ipairs(members) do
  local first = string.find(member, ' ', 1, true)
  local second = string.find(member, ' ', first + 1, true)
  redis.call('XADD', KEYS[2], '*', 'm', string.sub(member, second + 1), 't', string.sub(member, 1, first - 1))
  redis.call('ZREM', KEYS[1], member)
end
return #members
