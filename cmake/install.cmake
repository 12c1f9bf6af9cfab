# What `cmake --install` puts where, and the package that find_package(ringtrue) reads: the targets ringtrue::analysis
# and ringtrue::ringtrue. tests/consumer proves it.
include(GNUInstallDirs)
include(CMakePackageConfigHelpers)

set_target_properties(ringtrue_analysis PROPERTIES EXPORT_NAME analysis)
install(TARGETS ringtrue_analysis ringtrue EXPORT ringtrue-targets)
install(DIRECTORY ${PROJECT_SOURCE_DIR}/include/ringtrue DESTINATION ${CMAKE_INSTALL_INCLUDEDIR})
install(FILES ${PROJECT_SOURCE_DIR}/LICENSE DESTINATION ${CMAKE_INSTALL_DOCDIR})

set(package_folder ${CMAKE_INSTALL_LIBDIR}/cmake/ringtrue)
install(EXPORT ringtrue-targets NAMESPACE ringtrue:: DESTINATION ${package_folder})
configure_package_config_file(${CMAKE_CURRENT_LIST_DIR}/ringtrue-config.cmake.in
                              ${PROJECT_BINARY_DIR}/ringtrue-config.cmake INSTALL_DESTINATION ${package_folder})
write_basic_package_version_file(${PROJECT_BINARY_DIR}/ringtrue-config-version.cmake COMPATIBILITY SameMinorVersion)
install(FILES ${PROJECT_BINARY_DIR}/ringtrue-config.cmake ${PROJECT_BINARY_DIR}/ringtrue-config-version.cmake
        DESTINATION ${package_folder})
