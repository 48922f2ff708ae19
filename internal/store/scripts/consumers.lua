-- consumers: remove consumers that hold nothing and have been idle for long.
-- One that still holds entries is never removed: they would be lost with it.
--
-- KEYS 1 STREAM
-- ARGV 1 consumer group
--      2 idle at least this long, ms
-- Result: how many

local removed = 0
for _, flat in ipairs(redis.call('XINFO', 'CONSUMERS', KEYS[1], ARGV[1])) do
  local c = {}
  for i = 1, #flat, 2 do c[flat[i]] = flat[i + 1] end
  if c.pending == 0 and c.idle >= tonumber(ARGV[2]) then
    redis.call('XGROUP', 'DELCONSUMER', KEYS[1], ARGV[1], c.name)
    removed = removed + 1
  end
end
return removed
