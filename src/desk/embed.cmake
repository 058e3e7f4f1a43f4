# Writes OUTPUT: a C++ file with the bytes of FOLDER/NAME for each NAME in NAMES (joined by |).
string(REPLACE "|" ";" names "${NAMES}")
set(entries "")
foreach(name IN LISTS names)
  file(READ "${FOLDER}/${name}" bytes HEX)
  string(LENGTH "${bytes}" digits)
  math(EXPR size "${digits} / 2")
  string(REGEX REPLACE "(..)" "\\\\x\\1" bytes "${bytes}")
  string(APPEND entries "    {\"${name}\", {\"${bytes}\", ${size}}},\n")
endforeach()
file(WRITE "${OUTPUT}" "// Generated from src/desk/page/ by embed.cmake.
#include \"desk/page.h\"

namespace sendworthy::desk {

std::span<const PageFile> page_files() {
  static constexpr PageFile kFiles[] = {
${entries}  };
  return kFiles;
}

}  // namespace sendworthy::desk
")
