// Prints the sections that are found in each file, one line of JSON a file.
#include <cstdio>
#include <string>

#include <nlohmann/json.hpp>

#include "song/structure.h"

int main(int count, char** paths) {
  if (count < 2) {
    std::fputs("sections: name the files\n", stderr);
    return 2;
  }
  for (int i = 1; i < count; ++i) {
    const auto structure = sendworthy::song::structure_of(paths[i], {});
    if (!structure) {
      std::fprintf(stderr, "%s\n", structure.error().text.c_str());
      return 3;
    }
    nlohmann::ordered_json file{{"path", paths[i]}, {"duration", structure->duration_s}, {"from_markers", structure->from_markers}};
    for (const auto& section : structure->sections) {
      file["sections"].push_back(nlohmann::ordered_json{{"name", section.name}, {"start", section.start_s}, {"end", section.end_s},
                                                        {"alike", section.alike}, {"loudness", section.loudness_lufs}});
    }
    std::puts(file.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace).c_str());
  }
  return 0;
}
