# Writes OUTPUT: a C++ file with the texts of FOLDER/NAME.toml for each NAME in NAMES (joined by commas).
string(REPLACE "," ";" names "${NAMES}")
set(entries "")
foreach(name IN LISTS names)
  file(READ "${FOLDER}/${name}.toml" text)
  string(APPEND entries "    {\"${name}\", R\"sendworthy(${text})sendworthy\"},\n")
endforeach()
file(WRITE "${OUTPUT}" "// Generated from rules/*.toml by embed.cmake.
#include \"judge/shipped.h\"

namespace sendworthy::judge {

std::span<const ShippedSet> shipped_sets() {
  static constexpr ShippedSet kSets[] = {
${entries}  };
  return kSets;
}

}  // namespace sendworthy::judge
")
