-- bucket: take tokens from the bucket of a sending number, or say how long to
-- wait. The bucket is kept as one number: the instant at which it will be full.
--
-- KEYS 1 bucket STRING
-- ARGV 1 now, µs (Unix)
--      2 µs for one token to come
--      3 how many tokens the bucket holds
--      4 how many to take, at most as many as it holds
-- Result: 0 if they were taken, else µs to wait before asking again

local now, each = tonumber(ARGV[1]), tonumber(ARGV[2])
local size = each * tonumber(ARGV[3])
local full = tonumber(redis.call('GET', KEYS[1]) or now)
if full < now then full = now end
-- Another machine's clock may run ahead: never more than an empty bucket.
if full > now + size then full = now + size end
local after = full + each * tonumber(ARGV[4])
if after > now + size then return after - now - size end
redis.call('SET', KEYS[1], string.format('%.0f', after), 'PX', math.ceil((after - now) / 1000))
return 0
