package main

import (
	"errors"
	"fmt"
	"os"
	"strings"

	"github.com/redis/go-redis/v9"

	"gaitpost/dialog"
	"gaitpost/internal/clinic"
	"gaitpost/internal/contact"
	"gaitpost/internal/store"
)

// envKey is one environment variable that the program reads. Each can also be
// given as a file, by its name with _FILE: the file's only line is the value.
type envKey struct{ name, about string }

// The environment's variables, beside those that clinics' settings name.
var (
	envConfig     = envKey{"GAITPOST_CONFIG", "folder of the clinics' settings; --config goes before it"}
	envRedis      = envKey{"GAITPOST_REDIS_URL", "where Redis is; --redis goes before it"}
	envContactKey = envKey{"GAITPOST_CONTACT_KEY", "secret that keeps telephone numbers out of Redis' keys"}

	envRedisCA   = envKey{"GAITPOST_REDIS_CA", "PEM: who may sign Redis' certificate, over rediss://; the system's authorities without it"}
	envRedisCert = envKey{"GAITPOST_REDIS_CERT", "PEM: the certificate shown to Redis"}
	envRedisKey  = envKey{"GAITPOST_REDIS_CERT_KEY", "PEM: the key of that certificate"}
	envSealKeys  = envKey{"GAITPOST_SEAL_KEYS", "keys that seal what is stored, oldest first; gaitpost keys new makes one"}

	environment = []envKey{envConfig, envRedis, envContactKey, envRedisCA, envRedisCert, envRedisKey, envSealKeys}
)

// setting looks a variable up, in the environment or in the file that it names.
func setting(e env, k envKey) (string, error) {
	value, file := e.getenv(k.name), e.getenv(k.name+"_FILE")
	switch {
	case value != "" && file != "":
		return "", fmt.Errorf("%s and %s_FILE are both set; keep one of them", k.name, k.name)
	case file == "":
		return strings.TrimSpace(value), nil
	}
	data, err := os.ReadFile(file)
	if err != nil {
		return "", fmt.Errorf("the file that %s_FILE names can't be read: %w", k.name, err)
	}
	return strings.TrimSpace(string(data)), nil
}

// flagOr is a flag's value, or the variable's where the flag was not given.
func flagOr(e env, flag, value string, k envKey) (string, error) {
	if value != "" {
		return value, nil
	}
	value, err := setting(e, k)
	if err == nil && value == "" {
		err = fmt.Errorf("%s is missing; give it, or set %s", flag, k.name)
	}
	return value, err
}

// redisClient makes a client of the Redis at an address, with the deployment's
// own certificates where there are any. The caller closes it.
func redisClient(e env, address string) (redis.UniversalClient, error) {
	var t store.TLS
	for _, x := range []struct {
		k  envKey
		to *string
	}{{envRedisCA, &t.CA}, {envRedisCert, &t.Cert}, {envRedisKey, &t.Key}} {
		var err error
		if *x.to, err = setting(e, x.k); err != nil {
			return nil, err
		}
	}
	return store.NewTLSClient(address, t)
}

// contactHasher makes contact ids with the deployment's secret.
func contactHasher(e env) (*contact.Hasher, error) {
	key, err := setting(e, envContactKey)
	if err != nil {
		return nil, err
	}
	if key == "" {
		return nil, fmt.Errorf("%s is not set; make a secret once, for example with \"openssl rand -hex 32\", and keep it as long as the data", envContactKey.name)
	}
	h, err := contact.NewHasher([]byte(key))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", envContactKey.name, err)
	}
	return h, nil
}

// clinicFrom is one clinic of a settings file or folder; id may be empty where
// there is just one. Channels' secrets are not needed for what this is used for.
func clinicFrom(e env, config, id string) (*clinic.Clinic, error) {
	c, _, err := clinicAndOverlay(e, config, id)
	return c, err
}

// clinicAndOverlay is clinicFrom with what lays the desk's changes on top.
func clinicAndOverlay(e env, config, id string) (*clinic.Clinic, overlaid, error) {
	builtin, err := dialog.Builtin()
	if err != nil {
		return nil, nil, fmt.Errorf("the built-in scripts can't be read: %w", err)
	}
	src := clinic.SourceAt(config, e.getenv, builtin)
	src.MissingSecrets = clinic.Doubtful
	clinics, problems := clinic.LoadFrom(src)
	if err := refuse(problems); err != nil {
		return nil, nil, err
	}
	var ids []string
	for _, c := range clinics {
		if c.Rules.Clinic == id || id == "" && len(clinics) == 1 {
			return c, overlaysOn(src, clinics), nil
		}
		ids = append(ids, c.Rules.Clinic)
	}
	if id == "" {
		return nil, nil, fmt.Errorf("there are several clinics in %s; name one with --clinic: %s", config, strings.Join(ids, ", "))
	}
	return nil, nil, fmt.Errorf("there is no clinic %q in %s; there is %s", id, config, strings.Join(ids, ", "))
}

// refuse turns what is wrong into one error with all of it; warnings are none.
func refuse(problems []clinic.Problem) error {
	var lines []string
	for _, p := range problems {
		if p.Severity == clinic.Wrong {
			lines = append(lines, p.String())
		}
	}
	if len(lines) == 0 {
		return nil
	}
	return errors.New(count(len(lines), "problem") + ":\n  " + strings.Join(lines, "\n  "))
}

// count writes "1 problem", "2 problems".
func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
