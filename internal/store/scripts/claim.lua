-- claim: take households that are due and push them forward by a lease. The
-- commit of their turn sets the true next time; if it never comes, the lease
-- ends and somebody else takes them.
--
-- KEYS 1 due ZSET
-- ARGV 1 now, s (Unix)
--      2 lease, s
--      3 how many at most
-- Result: the members, soonest due first

local due = redis.call('ZRANGEBYSCORE', KEYS[1], '-inf', ARGV[1], 'LIMIT', 0, ARGV[3])
if #due == 0 then return due end
local lease = string.format('%.0f', tonumber(ARGV[1]) + tonumber(ARGV[2]))
local args = {}
for i = 1, #due do
  args[2 * i - 1] = lease
  args[2 * i] = due[i]
end
redis.call('ZADD', KEYS[1], unpack(args))
return due
