#include "desk/within.h"

#include <doctest/doctest.h>

#include <filesystem>
#include <string>
#include <vector>

#include "base/files.h"
#include "base/scratch_folder.h"
#include "desk/plans_here.h"

using namespace sendworthy;
using namespace sendworthy::desk;
namespace fs = std::filesystem;

namespace {

struct Home {
  Home() : scratch(*base::ScratchFolder::make("test")), folder(make(scratch.path())) {}
  static Folder make(const std::string& path) {
    fs::create_directory(path + "/room");
    return *Folder::open(path + "/room");
  }
  void put(const std::string& name, const std::string& text) const {
    const auto path = scratch.path() + "/" + name;
    fs::create_directories(fs::path(path).parent_path());
    REQUIRE(base::write_then_rename(path, text).has_value());
  }
  [[nodiscard]] std::string path(const std::string& name) const { return scratch.path() + "/room/" + name; }
  base::ScratchFolder scratch;
  Folder folder;
};

std::string order(const std::string& head, const std::string& item = "") {
  return "[order]\ntitle = \"Lamps\"\nartist = \"Nobody\"\n" + head + "\n[[item]]\nversion = \"main\"\nfile = \"main.wav\"\n" + item;
}

}  // namespace

TEST_SUITE_BEGIN("desk/within");

TEST_CASE("a plan may name what lies in the folder, wherever the plan lies in it, and nothing else") {
  const Home home;
  home.put("room/songs/song.toml", "[song]\nmix = \"../mix.wav\"\nprevious = \"../last.wav\"\n");
  REQUIRE(plan_within(home.folder, home.path("songs/song.toml")).has_value());
  for (const char* mix : {"../../mix.wav", "/etc/passwd", "../../room-of-mine/mix.wav", "../../../mix.wav"}) {
    home.put("room/songs/song.toml", "[song]\nmix = \"" + std::string(mix) + "\"\n");
    const auto refused = plan_within(home.folder, home.path("songs/song.toml"));
    REQUIRE(!refused.has_value());
    CHECK(refused.error().code == ErrorCode::unreadable);
    CHECK(refused.error().text.find("open the folder above") != std::string::npos);
  }
  home.put("room/songs/song.toml", "[song\n");
  CHECK(plan_within(home.folder, home.path("songs/song.toml")).error().code == ErrorCode::rules);
}

TEST_CASE("an order's rule sets are looked at as far as they extend each other, and not for ever") {
  const Home home;
  home.put("room/order.toml", order("rules = \"a.toml\""));
  home.put("room/main.wav", "");
  home.put("room/a.toml", "[ruleset]\nextends = [\"b.toml\", \"cd\"]\n");
  home.put("room/b.toml", "[ruleset]\nextends = \"a.toml\"\n");
  const auto within = order_within(home.folder, home.path("order.toml"));
  REQUIRE_MESSAGE(within.has_value(), to_string(within.error()));
  CHECK(within->files == std::vector<std::string>{home.path("main.wav")});
  home.put("outside.toml", "[ruleset]\n");
  home.put("room/b.toml", "[ruleset]\nextends = [\"a.toml\", \"../outside.toml\"]\n");
  CHECK(order_within(home.folder, home.path("order.toml")).error().code == ErrorCode::unreadable);
  // What is wrong in them is for those to say who load them.
  home.put("room/b.toml", "[ruleset\n");
  CHECK(order_within(home.folder, home.path("order.toml")).has_value());
  home.put("room/order.toml", order("rules = \"cd\"", "rules = [\"../outside.toml\"]\n"));
  CHECK(order_within(home.folder, home.path("order.toml")).error().code == ErrorCode::unreadable);
}

TEST_CASE("sounds of a folder count with those below, and one that lies elsewhere spoils them all") {
  const Home home;
  home.put("room/stems/a.wav", "");
  home.put("room/stems/more/b.wav", "");
  CHECK(sounds_within(home.folder, home.path("stems"))->size() == 2);
  home.put("c.wav", "");
  fs::create_symlink("../../../c.wav", home.path("stems/more/c.wav"));
  CHECK(sounds_within(home.folder, home.path("stems")).error().code == ErrorCode::unreadable);
  CHECK(sounds_within(home.folder, home.path("gone")).error().code == ErrorCode::missing);
}

TEST_CASE("plans and orders are told from each other and from the rest, and at most so many are looked at") {
  const Home home;
  home.put("room/a.toml", "[song]\ntitle = \"Lamps\"\n");
  home.put("room/b.toml", order(""));
  home.put("room/c.toml", "[ruleset]\n");
  home.put("room/d.toml", "x = [\n [song] \n");
  home.put("room/e.toml", "song = [1]\n");
  home.put("room/f.toml", "song.title = 3\n");
  const auto here = plans_here(home.folder, "");
  REQUIRE(here.plans.size() == 3);
  CHECK(here.plans[0].name == "a.toml");
  CHECK(here.plans[0].title == "Lamps");
  CHECK(here.plans[1].name == "d.toml");
  CHECK(here.plans[2].title.empty());
  REQUIRE(here.orders.size() == 1);
  CHECK(here.orders[0].path == "b.toml");
  CHECK(plans_here(home.folder, "gone").plans.empty());
  CHECK(plans_here(home.folder, "..").plans.empty());
  for (std::size_t n = 0; n < kMostTomlFiles + 5; ++n) home.put("room/many/" + std::to_string(n) + ".toml", "[song]\n");
  CHECK(plans_here(home.folder, "many").plans.size() == kMostTomlFiles);
  CHECK(plans_here(home.folder, "many").plans[0].path == "many/0.toml");
}

TEST_SUITE_END();
