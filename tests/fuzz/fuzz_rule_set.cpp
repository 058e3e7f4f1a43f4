// Any text as a rule set: it is understood or refused with a place, never crashes and never reads beyond its end.
#include <sendworthy/catalog.h>
#include <sendworthy/rule_set.h>

#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string_view>

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  const auto rules = sendworthy::parse_rule_set(text, "fuzzed.toml", {}, sendworthy::catalog());
  // An error says what is wrong; what was understood names itself.
  if (!rules && rules.error().text.empty()) std::abort();
  if (rules && rules->name.empty()) std::abort();
  return 0;
}
