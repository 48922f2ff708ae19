-- reaside: write a stream of entries that were given up anew, each under its own
-- id. A stream that changed meanwhile is left alone.
--
-- KEYS 1 STREAM
-- ARGV for each entry, in order: its id, its value, why it was given up
-- Result: 1 done, 0 it holds other entries

local now = redis.call('XRANGE', KEYS[1], '-', '+')
if #now * 3 ~= #ARGV then return 0 end
for i, entry in ipairs(now) do
  if entry[1] ~= ARGV[3 * i - 2] then return 0 end
end
redis.call('DEL', KEYS[1])
for i = 1, #ARGV, 3 do
  redis.call('XADD', KEYS[1], ARGV[i], 'm', ARGV[i + 1], 'w', ARGV[i + 2])
end
return 1
